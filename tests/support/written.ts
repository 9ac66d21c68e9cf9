/** Any value as text that tells equal from different, whole numbers of any size included. */
export const written = (value: unknown): string =>
  JSON.stringify(value, (_, part: unknown) => (typeof part === 'bigint' ? `${part}n` : part));
