/** The table of facts against the facts that stories of any kind give: what it says of a row is so. */
import fc from 'fast-check';
import { expect, it, vi } from 'vitest';
import type { Subject } from '../../src/domain/book/book.ts';
import { decide, enter } from '../../src/domain/decide.ts';
import { isObserved, type ObservedFact } from '../../src/domain/vocabulary/fact.ts';
import { FACT_CODES } from '../../src/fhir/codes.ts';
import { FLAG_CODES } from '../../src/fhir/flag-codes.ts';
import { displayOf } from '../../src/fhir/value-codes.ts';
import { entryOf, type Told } from '../support/drain-script.ts';
import { arrivalOf, ledger } from '../support/ledgers.ts';
import { DEFAULT_POLICY } from '../support/policy.ts';

vi.setConfig({ testTimeout: 120_000 });

function* factsOf(story: readonly Told[]): Generator<ObservedFact> {
  const subject: Subject = new Map();
  for (const told of story) {
    const head = subject.get(told.drain ?? 'd1')?.head ?? 0;
    const decision = decide(subject, entryOf(told, head + 1), DEFAULT_POLICY);
    if ('refused' in decision) throw new Error(`${told.key}: ${decision.refused}`);
    for (const { issued } of decision.changes)
      for (const { fact } of issued) if (isObserved(fact)) yield fact;
    enter(subject, decision, DEFAULT_POLICY);
  }
}

/** What the row says of the fact, and what the fact is. */
function comparison(fact: ObservedFact): readonly [said: object, is: object] {
  const row = FACT_CODES[fact.name];
  const { name, value } = fact;
  const isAbsent = 'absent' in value;
  const isNegative = 'quantity' in value && Number(value.quantity) < 0;
  if ('code' in value) displayOf(name, value.code);
  return [
    {
      name,
      value: isAbsent && row.absent === true ? 'absent' : row.value,
      negative: row.signed === true && isNegative,
      ...{ time: row.time, charted: row.charted, grouping: row.value === 'grouping' },
      derivedFrom: row.charted ? false : fact.derived_from.length > 0,
      ...{ otherComponents: [], otherFlags: [] },
    },
    {
      name,
      value: Object.keys(value)[0],
      negative: isNegative,
      time: 'at' in fact.effective ? 'moment' : 'period',
      ...{ charted: fact.author !== null, grouping: fact.members.length > 0 },
      derivedFrom: fact.derived_from.length > 0,
      otherComponents: fact.components
        .map((component) => component.name)
        .filter((component) => row.components?.includes(component) !== true),
      otherFlags: fact.flags.filter((flag) => !(flag in FLAG_CODES)),
    },
  ];
}

it('holds of every fact, over generated ledgers', () => {
  const seen = new Set<string>();
  fc.assert(
    fc.property(ledger.chain(arrivalOf), (story) => {
      for (const fact of factsOf(story)) {
        const [said, is] = comparison(fact);
        seen.add(fact.name);
        if (JSON.stringify(said) !== JSON.stringify(is)) expect(is).toEqual(said);
      }
    }),
    { numRuns: 200 },
  );
  // Those that the stories do not tell of have examples elsewhere (tests/http/fhir-conformance.test.ts).
  expect(seen.size).toBeGreaterThan(20);
});
