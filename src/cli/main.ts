/** The command line: `node dist/cli/main.js COMMAND`. */
import { runDemo } from '../demo/run.ts';
import { runAuditBundle } from './audit-bundle/run.ts';
import { runCheckpointKey } from './checkpoint-key.ts';
import { runDeliveries } from './deliveries.ts';
import { runErase } from './erase/run.ts';
import { runExport } from './export-csv.ts';
import { runHl7 } from './hl7.ts';
import { runImport } from './import/run.ts';
import { runKeys } from './keys.ts';
import { runLedger } from './ledger.ts';
import { CannotWrite, EXIT_NOT_WRITTEN, mindOutput, outputWritten } from './output.ts';
import { runRetention } from './retention/run.ts';
import { runRules } from './rules.ts';
import { runTargets } from './targets.ts';
import { USAGE } from './usage.ts';
import { runVerify } from './verify/run.ts';

const EXIT_USAGE = 64;

/** @returns the exit code; null where it is asked wrongly @throws {Error} where it cannot be done */
type Command = (args: readonly string[]) => Promise<number | null> | number | null;

const COMMANDS: ReadonlyMap<string, Command> = new Map<string, Command>([
  ['demo', runDemo],
  ['rules', runRules],
  ['hl7', runHl7],
  ['import', runImport],
  ['keys', runKeys],
  ['targets', runTargets],
  ['deliveries', runDeliveries],
  ['checkpoint-key', runCheckpointKey],
  ['ledger', runLedger],
  ['verify', runVerify],
  ['audit-bundle', runAuditBundle],
  ['retention', runRetention],
  ['erase', runErase],
  ['export', runExport],
]);

async function main(args: readonly string[]): Promise<number> {
  const [name, ...rest] = args;
  if (name === undefined) return askedWrongly('no command was given');
  if (args.includes('--help') || name === '-h') {
    process.stdout.write(USAGE);
    return 0;
  }
  try {
    const code = await COMMANDS.get(name)?.(rest);
    return code ?? askedWrongly(`no such command: ${args.join(' ')}`);
  } catch (error) {
    const message = error instanceof Error ? error.message : String(error);
    if (isMisspelt(error)) return askedWrongly(message);
    process.stderr.write(`${message}\n`);
    return error instanceof CannotWrite ? EXIT_NOT_WRITTEN : EXIT_USAGE;
  }
}

function askedWrongly(why: string): number {
  process.stderr.write(`${why}\n\n${USAGE}`);
  return EXIT_USAGE;
}

/** As the platform says that an option is not known, or lacks its value. */
const isMisspelt = (error: unknown): boolean =>
  error instanceof Error && 'code' in error && String(error.code).startsWith('ERR_PARSE_ARGS');

mindOutput();
const code = await main(process.argv.slice(2));
await outputWritten();
process.exit(code);
