/** The files of a facility that its variables name, all of them read before anything is done with one. */
import type { AccessControl } from '../auth/access-control.ts';
import type { ConfiguredTarget } from '../delivery/target.ts';
import type { MessageMapping } from '../domain/vocabulary/message-mapping.ts';
import type { RuleTable } from '../domain/vocabulary/rule.ts';
import type { UnitProfile } from '../domain/vocabulary/unit-profile.ts';
import type { MllpOptions } from '../hl7v2/mllp/listener.ts';
import { DEFAULT_TABLE } from '../rules/default-table.ts';
import { readAccess } from './access.ts';
import { readMessageMapping, readMllp } from './hl7v2-files.ts';
import type { Environment } from './ledger.ts';
import { defaultProfiles, readProfiles } from './profiles.ts';
import { readRules } from './rules.ts';
import { readTargets } from './targets.ts';

export interface Files {
  /** Who may come in; null where no file says it. */
  readonly access: AccessControl | null;
  readonly profiles: ReadonlyMap<string, UnitProfile>;
  readonly rules: RuleTable;
  /** How HL7 v2 messages are read; without it none are taken. */
  readonly hl7v2: MessageMapping | null;
  /** Where they are taken over MLLP, and from whom. */
  readonly mllp: MllpOptions | null;
  readonly targets: readonly ConfiguredTarget[];
}

/** Reads the file of a setting, where there is one; what is wrong with it is told under the name of the setting. */
export type ReadFileOf = <T>(setting: string, read: (path: string) => T) => T | null;

export function fileReader(env: Environment, faults: string[]): ReadFileOf {
  return (setting, read) => {
    const path = env[setting];
    // What is empty is told of by the setting itself.
    if (path === undefined || path === '') return null;
    try {
      return read(path);
    } catch (error) {
      const lines = (error instanceof Error ? error.message : String(error)).split('\n');
      faults.push(...lines.map((line) => `${setting} ${line}`));
      return null;
    }
  };
}

/** What is wrong with one is told by its reader; what stands in its place then is for nobody to use. */
export const readFiles = (fileOf: ReadFileOf): Files => ({
  access: fileOf('DRAINLEDGER_ACCESS', readAccess),
  profiles: fileOf('DRAINLEDGER_PROFILES', readProfiles) ?? defaultProfiles(),
  rules: fileOf('DRAINLEDGER_RULES', readRules) ?? DEFAULT_TABLE,
  hl7v2: fileOf('DRAINLEDGER_HL7V2', readMessageMapping),
  mllp: fileOf('DRAINLEDGER_MLLP', readMllp),
  targets: fileOf('DRAINLEDGER_TARGETS', readTargets) ?? [],
});
