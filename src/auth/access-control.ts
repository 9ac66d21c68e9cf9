import { DEVELOPER, type Principal } from './principal.ts';

export interface AccessControl {
  /** Nobody is asked who they are. */
  readonly isOpen: boolean;
  /** Where clients get tokens, for who looks for it (SMART App Launch, conformance.html). */
  readonly tokenEndpoint: string | null;
  /** Whom a bearer token or key speaks for. @throws {BadToken} or {CannotCheck} */
  principalOf(token: string): Promise<Principal>;
}

/** For a machine of one's own. */
export const DEVELOPMENT: AccessControl = {
  isOpen: true,
  tokenEndpoint: null,
  principalOf: async () => DEVELOPER,
};
