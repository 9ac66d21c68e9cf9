import type { Identifier } from './entry.ts';

/** An identifier as people and refusals name it. */
export const identifierText = ({ system, value }: Identifier): string => `${system}|${value}`;
