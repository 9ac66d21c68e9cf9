/** Refusals of the service in words for a ward: fields by name, never by their place in a message. */
import { describe, expect, test } from 'vitest';
import { refusalText } from '../../src/web/words.ts';

const fault = (pointer: string, detail: string, mend: string) => ({ pointer, detail, mend });

describe('why an entry was not taken', () => {
  test('names each field in words, with its mend', () => {
    const errors = [
      fault('/weight_kg', 'is not a body weight', 'send kg, 0.1 or more'),
      fault('/replacement/seal/level_cmh2o', 'is negative', 'send a magnitude'),
    ];
    expect(refusalText({ detail: '/weight_kg is not a body weight', errors })).toBe(
      'weight kg is not a body weight: send kg, 0.1 or more; seal level cmh2o is negative: send a magnitude.',
    );
  });

  test('is what the service says where no field is named', () => {
    expect(refusalText({ detail: 'Ask again in a moment.' })).toBe('Ask again in a moment.');
  });
});
