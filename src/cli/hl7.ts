/** `hl7 check MESSAGE`: what an HL7 v2 message would become by a mapping, without the service; sends nothing. */
import { readFileSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { writeBody } from '../audit/entry-text.ts';
import { readMessageMapping } from '../configuration/hl7v2-files.ts';
import { defaultProfiles } from '../configuration/profiles.ts';
import { identifierText } from '../domain/vocabulary/identifier-text.ts';
import { readMessage } from '../hl7v2/read-message.ts';
import { faultText } from '../intake/fault.ts';
import type { Hl7Fault } from '../intake/hl7v2/fault.ts';
import { type ReadSettings, readResults, type Telling } from '../intake/hl7v2/read-results.ts';
import { print } from './output.ts';

/** @returns the exit code: 0, 1 where nothing could be made of the message; null where the call is not understood */
export async function runHl7(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({
    args: [...args],
    allowPositionals: true,
    options: { mapping: { type: 'string' } },
  });
  const [verb, file, ...more] = positionals;
  if (verb !== 'check' || file === undefined || more.length > 0) return null;
  const path = values.mapping ?? process.env.DRAINLEDGER_HL7V2;
  if (path === undefined) throw new Error('name the mapping: --mapping FILE, or DRAINLEDGER_HL7V2');
  const read = readFile(file, { mapping: readMessageMapping(path), profiles: defaultProfiles() });
  if ('faults' in read) {
    for (const fault of read.faults) print(faultText(fault));
    print('Nothing could be made of it: it would be kept as unmapped, or rejected for what MSH says.');
    return 1;
  }
  if (read.tellings.length === 0)
    print('It says nothing of a drain: it would be acknowledged, and nothing written.');
  for (const telling of read.tellings) print(tellingText(telling));
  return 0;
}

type Read = { readonly tellings: readonly Telling[] } | { readonly faults: readonly Hl7Fault[] };

/** A file that was written by hand ends its lines as files do, not its segments as messages do. */
function readFile(path: string, settings: ReadSettings): Read {
  const bytes = Buffer.from(readFileSync(path, 'latin1').replaceAll(/\r?\n/g, '\r'), 'latin1');
  const read = readMessage(bytes);
  return 'fault' in read ? { faults: [read.fault] } : readResults(read.message, settings);
}

function tellingText({ of, identifier, says, corrects, takesBack }: Telling): string {
  const change = corrects ? 'changes what was told before under its identifier' : 'is entered, once';
  const back = takesBack.map((field) => field.join('.')).join(', ');
  return [
    `${whoseText(of)}: ${change}`,
    `  identifier  ${identifierText(identifier)}`,
    ...(says === null ? [] : [`  says        ${writeBody(says)}`]),
    ...(back === '' ? [] : [`  no result   ${back}`]),
  ].join('\n');
}

const whoseText = (of: Telling['of']): string =>
  'drain' in of
    ? `drain placed as ${identifierText(of.drain)}`
    : `the drain that the registered device ${identifierText(of.device)} was on`;
