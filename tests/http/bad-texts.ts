/** Texts that are no acceptable JSON, with what their answer names. */
import { type Case, reading } from './bad-messages.ts';

const DIGITS = 'send digits such as 1, 0.5 or 1.0';
const JSON_ONLY = 'send JSON by RFC 8259; NaN, Infinity, +1 and .5 are none';

export const TEXTS: readonly Case[] = [
  ['a duplicate key', reading('"level_ml":1,"level_ml":2'), 400, '/level_ml', 'level_ml', 'send it once'],
  [
    'a duplicate key within',
    reading('"seal":{"level_cmh2o":1,"level_cmh2o":1}'),
    400,
    '/seal/level_cmh2o',
    'level_cmh2o',
    'send it once',
  ],
  ['1.', reading('"level_ml":1.'), 400, '/level_ml', '1.', DIGITS],
  ['01', reading('"level_ml":01'), 400, '/level_ml', '01', DIGITS],
  ['1.5.2', reading('"level_ml":1.5.2'), 400, '/level_ml', '1.5.2', DIGITS],
  ['NaN', reading('"level_ml":NaN'), 400, '/level_ml', 'NaN}', JSON_ONLY],
  ['+1', reading('"level_ml":+1'), 400, '/level_ml', '+1}', JSON_ONLY],
  ['.5', reading('"level_ml":.5'), 400, '/level_ml', '.5}', JSON_ONLY],
  ['half a surrogate pair', reading('"note":"\\ud83d"'), 400, '/note', '"\\ud83d"', 'send whole characters'],
  ['the NUL character', reading('"note":"\\u0000"'), 400, '/note', '"\\u0000"', 'send it without'],
  ['__proto__', reading('"__proto__":{"level_ml":1}'), 400, '/__proto__', '__proto__', 'remove it'],
  [
    'deep nesting',
    reading(`"note":${'['.repeat(100)}1${']'.repeat(100)}`),
    400,
    `/note${'/0'.repeat(31)}`,
    '[',
    'nest less',
  ],
  ['text after the end', `${reading('"level_ml":1')} 2`, 400, '', '2', JSON_ONLY],
  ['half a message', reading('"level_ml":1').slice(0, -1), 400, '', 'the end of the text', JSON_ONLY],
];
