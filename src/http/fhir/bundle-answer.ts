/** One entry of the answer to a batch or transaction. */
export interface EntryAnswer {
  /** Text of a resource, as it was issued. */
  readonly resource: string | null;
  readonly response: {
    readonly status: string;
    readonly location?: string;
    readonly etag?: string;
    readonly lastModified?: string;
  };
  /** Text of an OperationOutcome. */
  readonly outcome: string | null;
}

export function entryText({ resource, response, outcome }: EntryAnswer): string {
  const shown = resource === null ? '' : `"resource":${resource},`;
  const said = JSON.stringify(response);
  const told = outcome === null ? said : `${said.slice(0, -1)},"outcome":${outcome}}`;
  return `{${shown}"response":${told}}`;
}
