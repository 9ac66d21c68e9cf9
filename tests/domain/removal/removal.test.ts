/** What was measured beside the figures of a policy. All readings are invented. */
import { describe, expect, it } from 'vitest';
import { REMOVAL_POLICIES, type RemovalPolicy } from '../../../src/domain/removal/removal-policies.ts';
import { placed, reading, says, setUp, weighed } from '../../support/drain-script.ts';
import { day, evidenceOf, grade, policy, START, standing, UP_TO_450 } from '../../support/removal.ts';

describe('a policy', () => {
  const of = (more: object) => evidenceOf([placed('00:00', more), setUp('00:00', 0)]);
  it('says whom it was published for, beside how the drain stands to them', () => {
    expect(of({ indication: 'trauma' }).scope).toEqual([
      { about: 'population', policy: ['adult'], drain: 'adult', status: 'same' },
      { about: 'indication', policy: ['thoracic-surgery'], drain: 'trauma', status: 'differs' },
      { about: 'site', policy: ['pleural-left', 'pleural-right'], drain: 'pleural-left', status: 'same' },
    ]);
  });
  it('has a criterion for each figure that it states, and no other', () => {
    const named = (each: RemovalPolicy) =>
      evidenceOf([START, setUp('00:00', 0)], each).criteria.map(({ criterion }) => criterion);
    expect(named(UP_TO_450)).toEqual(['volume', 'air-leak', 'fluid']);
    expect(named({ ...UP_TO_450, fluid: null })).toEqual(['volume', 'air-leak']);
    expect(named(policy('lung-resection-flow-2023'))).toEqual(['air-flow', 'fluid']);
  });
  it('says nothing of a drain outside its scope, nor of one whose population is not stated', () => {
    expect(of({ indication: 'thoracic-surgery' }).criteria).toHaveLength(3);
    expect(of({}).criteria).toHaveLength(3);
    expect(of({}).scope).toContainEqual({
      ...{ about: 'indication', policy: ['thoracic-surgery'], drain: null, status: 'not-stated' },
    });
    expect(of({ population: 'paediatric' }).criteria).toEqual([]);
    expect(of({ population: undefined }).criteria).toEqual([]);
    expect(of({ indication: 'trauma' }).criteria).toEqual([]);
    expect(of({ site: 'mediastinal' }).criteria).toEqual([]);
  });
  it('leaves imaging and a clinician outstanding, whatever is met', () => {
    for (const each of REMOVAL_POLICIES) {
      const story = day(48, [
        ...[weighed('w', '00:00', 70), grade('g', '23:00', 0)],
        reading('c', '23:30', { fluid_character: 'serous' }),
      ]);
      expect(evidenceOf(story, each).outstanding).toEqual(['imaging', 'clinician']);
    }
  });
  it('has an id of its own and a source', () => {
    expect(new Set(REMOVAL_POLICIES.map(({ id }) => id)).size).toBe(REMOVAL_POLICIES.length);
    for (const { source, year } of REMOVAL_POLICIES) expect(source).toContain(String(year));
  });
  it('sees the drain as removed or not alike', () => {
    const out = says('out', '+1 00:00', 'removed', {});
    expect(standing([...day(240), out], 'volume')).toEqual(['met', null]);
  });
});
