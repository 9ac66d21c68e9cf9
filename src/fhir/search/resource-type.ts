/** What a row says of a resource type, and of a search parameter of it. */

/** Where the index keeps what a parameter asks for. */
export type Home =
  /** What many resources share: codes, status, unit. */
  | 'shape'
  /** A text of the resource's own: identifiers and references. */
  | 'word'
  | 'subject'
  | 'effective'
  | 'value'
  | 'updated'
  | 'id';

export type ParameterKind = 'token' | 'reference' | 'date' | 'quantity' | 'composite' | 'uri' | 'string';

export interface SearchParameter {
  readonly name: string;
  readonly kind: ParameterKind;
  readonly home: Home;
  /** Elements that it looks at, in dots. */
  readonly paths: readonly string[];
  /** Of a reference: the types that an id without type may mean. */
  readonly targets?: readonly string[];
  /** Of an element of type code: its code system. */
  readonly system?: string;
  readonly definition: string;
  readonly documentation: string;
}

export type Interaction =
  | 'create'
  | 'update'
  | 'read'
  | 'vread'
  | 'history-instance'
  | 'history-type'
  | 'search-type';
export type Operation = 'lastn' | 'stats';

export interface Followed {
  readonly parameter: string;
  /** Type of the resources that are added to the result. */
  readonly type: string;
}

export interface ResourceType {
  readonly type: string;
  /**
   * Made from entries of the ledger when it is read: one version each, whose id says nothing of a drain, so that no
   * client that is confined to a drain or patient may ask for it.
   */
  readonly isProjected?: true;
  readonly interactions: readonly Interaction[];
  /** Elements of a summary (isSummary in the StructureDefinition); those that must be there come first. */
  readonly mandatory: readonly string[];
  readonly summary: readonly string[];
  readonly parameters: readonly SearchParameter[];
  /** Parameters that a result can be sorted by. */
  readonly sortable: readonly string[];
  /** What `_include` follows: reference parameters of this type, and the type held here that they lead to. */
  readonly includes: readonly Followed[];
  /** What `_revinclude` follows: reference parameters of other types that lead to this one. */
  readonly revincludes: readonly Followed[];
  readonly operations: readonly Operation[];
}
