/** Scopes. Source: SMART App Launch 2.2.0, scopes-and-launch-context.html (v2 scopes, and how v1 maps to them). */
import { expect, test } from 'vitest';
import { wordsOfNoUse } from '../../src/auth/keys.ts';
import { type Access, allows } from '../../src/auth/scope.ts';

const on = (action: 'c' | 'r' | 'u' | 's', type = 'Observation'): Access => ({ type, action });

test.each([
  ['system/Observation.rs', on('r'), true],
  ['system/Observation.rs', on('s'), true],
  ['system/Observation.rs', on('c'), false],
  ['system/Observation.cruds', on('u'), true],
  ['user/*.rs', on('r', 'Device'), true],
  ['system/Device.rs', on('r'), false],
  ['patient/Observation.r', on('r'), true],
  ['system/Observation.read', on('s'), true],
  ['system/Observation.read', on('c'), false],
  ['system/Observation.write', on('u'), true],
  ['system/Observation.write', on('r'), false],
  ['system/*.*', on('c'), true],
  // Out of order, or narrowed by a query that is not looked at: no scope that is known.
  ['system/Observation.sr', on('r'), false],
  ['system/Observation.rs?category=exam', on('r'), false],
  ['openid fhirUser system/Observation.r', on('r'), true],
  ['', on('r'), false],
  ['system/Observation.', on('r'), false],
  ['xsystem/Observation.r', on('r'), false],
  ['system/Observation.cruds', 'operate', false],
  ['drainledger/operate', 'operate', true],
  ['drainledger/operate', 'audit', false],
  ['', 'known', true],
  ['', 'public', true],
] as const)('%s %j: %s', (scope, access, expected) => {
  expect(allows(scope, access)).toBe(expected);
});

test('words that would grant nothing are told', () => {
  expect(wordsOfNoUse('system/Observation.rs drainledger/operate')).toEqual([]);
  expect(wordsOfNoUse('system/Observation.sr system/Patient.rs read')).toEqual([
    'system/Observation.sr',
    'system/Patient.rs',
    'read',
  ]);
});
