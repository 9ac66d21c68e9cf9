/** What a story issues, as the store is given it. */
import type { Subject } from '../../src/domain/book/book.ts';
import { decide, enter } from '../../src/domain/decide.ts';
import { USUAL_TERMINOLOGY } from '../../src/domain/vocabulary/configuration.ts';
import type { Framed } from '../../src/json/frame.ts';
import { issueOf, toolsOf } from '../../src/record/drain-issue.ts';
import { entryOf, type Told } from './drain-script.ts';
import { DEFAULT_POLICY } from './policy.ts';

const TOOLS = toolsOf({
  policy: DEFAULT_POLICY,
  canonical: 'http://example.org/test',
  origin: 'test.example',
  terminology: USUAL_TERMINOLOGY,
});

export function* resourcesOf(story: readonly Told[]): Generator<Framed> {
  const subject: Subject = new Map();
  for (const told of story) {
    const drain = told.drain ?? 'd1';
    const seq = (subject.get(drain)?.head ?? 0) + 1;
    const entry = entryOf(told, seq);
    const decision = decide(subject, entry, DEFAULT_POLICY);
    if ('refused' in decision) throw new Error(`${told.key}: ${decision.refused}`);
    const place = { stream: drain, drain, seq, recordedMs: 0, recordedAt: '2026-03-01T08:00:00.000Z' };
    for (const change of decision.changes) yield* issueOf(change, subject, entry, place, TOOLS).resources;
    enter(subject, decision, DEFAULT_POLICY);
  }
}
