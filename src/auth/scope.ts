/**
 * What a client may do, as SMART App Launch 2.2.0 scopes say it (scopes-and-launch-context.html): `system/Observation.rs`.
 * Scopes of our own stand beside them, for what has no resource: operating the service, its figures, proving its history.
 */

/** c create, r read, u update, s search. Nothing can be deleted. */
export type Action = 'c' | 'r' | 'u' | 's';

export type Access =
  /** Anybody. */
  | 'public'
  /** Whoever is known, whatever they may do. */
  | 'known'
  | 'operate'
  | 'audit'
  | 'metrics'
  | { readonly type: string; readonly action: Action };

export const OWN_SCOPES = {
  operate: 'drainledger/operate',
  audit: 'drainledger/audit',
  metrics: 'drainledger/metrics',
} as const;

const CLINICAL = /^(patient|user|system)\/([A-Za-z]+|\*)\.(c?r?u?d?s?)$/;
/** What SMART 1.0 called them. */
const FIRST_VERSION = /^(patient|user|system)\/([A-Za-z]+|\*)\.(read|write|\*)$/;
const MEANING: Readonly<Record<string, string>> = { read: 'rs', write: 'cu', '*': 'crus' };

export interface Grant {
  /** `patient` grants hold for the one patient of the launch. */
  readonly level: 'patient' | 'user' | 'system';
  readonly type: string;
  readonly actions: string;
}

/** Grants among the words of a scope; what is not understood, or is narrowed by a query, grants nothing. */
function grantsIn(scope: string): readonly Grant[] {
  return scope.split(' ').flatMap((word) => {
    const second = CLINICAL.exec(word);
    const first = FIRST_VERSION.exec(word);
    const [, level = '', type = '', said = ''] = second ?? first ?? [];
    const actions = second === null ? (MEANING[said] ?? '') : said;
    return actions === '' ? [] : [{ level: level as Grant['level'], type, actions }];
  });
}

/** Whether a scope allows an access. @param scope words with blanks between */
export function allows(scope: string, access: Access): boolean {
  if (access === 'public' || access === 'known') return true;
  // Who operates it sees its figures.
  if (access === 'metrics' && allows(scope, 'operate')) return true;
  if (typeof access === 'string') return scope.split(' ').includes(OWN_SCOPES[access]);
  return grantsIn(scope).some(
    ({ type, actions }) => (type === '*' || type === access.type) && actions.includes(access.action),
  );
}

/** Whether it speaks for one patient, whom its bearer must be confined to. */
export const isOfOnePatient = (scope: string): boolean =>
  grantsIn(scope).some(({ level }) => level === 'patient');

/**
 * Whether a client that speaks for itself may take all there is of a type (SMART App Launch 2.2.0, backend-services.html):
 * `system/Type.rs`. What it may do for a user or a patient does not count.
 */
export function allowsExport(scope: string, type: string): boolean {
  const grants = grantsIn(scope).filter(
    (grant) => grant.level === 'system' && (grant.type === '*' || grant.type === type),
  );
  return ['r', 's'].every((action) => grants.some(({ actions }) => actions.includes(action)));
}

/** The scope that would allow it. */
export const scopeFor = (access: Exclude<Access, 'public' | 'known'>): string =>
  typeof access === 'string' ? OWN_SCOPES[access] : `system/${access.type}.${access.action}`;

/** What the native API asks for, in the words of what it holds: readings and what follows from them. */
export const READ = { type: 'Observation', action: 'r' } as const satisfies Access;
export const LIST = { type: 'Observation', action: 's' } as const satisfies Access;
export const CHART = { type: 'Observation', action: 'c' } as const satisfies Access;
export const CORRECT = { type: 'Observation', action: 'u' } as const satisfies Access;

/** Devices and on which drain they are: a registry, in the words of what FHIR calls so. */
export const READ_DEVICE = { type: 'Device', action: 'r' } as const satisfies Access;
export const LIST_DEVICES = { type: 'Device', action: 's' } as const satisfies Access;
export const REGISTER = { type: 'Device', action: 'c' } as const satisfies Access;
export const ASSIGN = { type: 'Device', action: 'u' } as const satisfies Access;
