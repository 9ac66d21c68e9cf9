/**
 * One write as the exact text of a FHIR R4 Provenance: which versions it issued about a drain, who charted it, and what
 * it put in the place of what.
 *
 * A first charting refers to facts that all hang on its own entry, so their names are part of the frame and a reading
 * costs few holes. Facts that hang on other entries, any number of them, are one hole.
 */

import type { Issued } from '../domain/facts/issue.ts';
import type { Author, Identifier } from '../domain/vocabulary/entry.ts';
import { FrameBuilder, type Framed } from '../json/frame.ts';
import { PARTICIPANT, US_CORE_PARTICIPANT } from './codings.ts';
import { concept } from './fixed-parts.ts';
import { factId, type IssueContext, referenceText, typeOfFact } from './reference.ts';

/** What a write is told of: an entry of any kind that changed what is issued. */
export interface WrittenEntry {
  readonly id: string;
  readonly body: {
    readonly kind: string;
    readonly identifier: Identifier;
    readonly author: Author;
    readonly reason?: string;
    readonly target?: Identifier;
  };
}

export interface ProvenanceContext extends IssueContext {
  readonly entry: WrittenEntry;
}

/** @param issued at least one */
export type WriteProvenance = (issued: readonly Issued[], context: ProvenanceContext) => Framed;

const DATA_OPERATION = 'http://terminology.hl7.org/CodeSystem/v3-DataOperation';
/** The element `patient` that R5 gave Provenance, in R4 (R4 versions.html#extensions). */
const PATIENT_EXTENSION = 'http://hl7.org/fhir/5.0/StructureDefinition/extension-Provenance.patient';

const coded = (system: string, code: string, display: string): string => concept([{ system, code, display }]);

const ACTIVITY = {
  create: coded(DATA_OPERATION, 'CREATE', 'create'),
  update: coded(DATA_OPERATION, 'UPDATE', 'revise'),
  nullify: coded(DATA_OPERATION, 'NULLIFY', 'nullify'),
} as const;

/**
 * @param canonical start of our canonical URLs, without a slash at the end
 * @param origin name of this log, by which the service is known as a device
 */
export function createProvenanceWriter(canonical: string, origin: string): WriteProvenance {
  const service = JSON.stringify({
    type: 'Device',
    identifier: { system: `${canonical}/service`, value: origin },
    display: 'drainledger',
  });
  const agents = `,"agent":[{"type":${coded(PARTICIPANT, 'assembler', 'Assembler')},"who":${service}},{"type":${coded(US_CORE_PARTICIPANT, 'transmitter', 'Transmitter')},"who":${service}},{"type":${coded(PARTICIPANT, 'author', 'Author')},"who":`;
  return (issued, { entry, drain, patient, issuedAt }) => {
    const { body } = entry;
    const to = new FrameBuilder().fixed('{"resourceType":"Provenance","id":"provenance.');
    to.hole(drain).fixed('.').hole(entry.id);
    to.fixed('","meta":{"versionId":"1","lastUpdated":"').hole(issuedAt).fixed('"}');
    if (patient !== null)
      to.fixed(`,"extension":[{"url":"${PATIENT_EXTENSION}","valueReference":`).hole(patient).fixed('}]');
    writeTargets(to, issued, drain, entry.id);
    to.fixed(',"recorded":"').hole(issuedAt).fixed('"');
    if (body.reason !== undefined)
      to.fixed(',"reason":[{"text":').hole(JSON.stringify(body.reason)).fixed('}]');
    to.fixed(`,"activity":${activityOf(body, issued)}${agents}`).hole(referenceText(body.author));
    to.fixed('}],"entity":[{"role":"source","what":').hole(byIdentifier(body.identifier));
    if (body.target !== undefined)
      to.fixed(`},{"role":"${replaced(body)}","what":`).hole(byIdentifier(body.target));
    return to.fixed('}]}').built();
  };
}

function writeTargets(to: FrameBuilder, issued: readonly Issued[], drain: string, entry: string): void {
  const others: string[] = [];
  let opening = ',"target":[{"reference":"';
  for (const { fact, version } of issued) {
    if (fact.anchor === entry) {
      to.fixed(`${opening}${typeOfFact(fact.name)}/${fact.name}.`)
        .hole(drain)
        .fixed('.')
        .hole(entry);
      to.fixed('/_history/').hole(String(version));
      opening = '"},{"reference":"';
    } else others.push(`${typeOfFact(fact.name)}/${factId(drain, fact)}/_history/${version}`);
  }
  if (others.length > 0) to.fixed(opening).hole(others.join('"},{"reference":"'));
  to.fixed('"}]');
}

/** What was done to the record: a late reading creates facts, and revises those of its neighbours. */
function activityOf({ kind }: WrittenEntry['body'], issued: readonly Issued[]): string {
  if (kind === 'entered-in-error') return ACTIVITY.nullify;
  const isNew = kind !== 'corrected' && issued.every(({ version }) => version === 1);
  return isNew ? ACTIVITY.create : ACTIVITY.update;
}

/** What became of the entry that is named: an earlier form of the same, or taken back. */
const replaced = ({ kind }: WrittenEntry['body']): 'revision' | 'removal' =>
  kind === 'entered-in-error' ? 'removal' : 'revision';

const byIdentifier = ({ system, value }: Identifier): string =>
  JSON.stringify({ identifier: { system, value } });
