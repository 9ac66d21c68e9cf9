/** Cosignatures: against a checkpoint of a public log that witnesses cosigned, and the example that C2SP publishes. */
import { generateKeyPairSync, sign } from 'node:crypto';
import { expect, test } from 'vitest';
import { rawPublicKey, readCheckpoint } from '../../src/audit/checkpoint.ts';
import { cosignatureBy, readWitnessKey, writeWitnessKey } from '../../src/audit/cosignature.ts';

// As the log arche2025h1.staging.ct.transparency.dev (Certificate Transparency) served it in 2026; the key of the witness
// as the tests of github.com/transparency-dev/formats have it (note/note_cosigv1_test.go).
const PUBLIC_LOG = `arche2025h1.staging.ct.transparency.dev
1432088532
U7WM79jrzyhGZ5/GUBTpM7NzwdyfFx61t3RovgcC4Ro=

— arche2025h1.staging.ct.transparency.dev ui8GwCF1+kWqZrxGdhj4aX3gcw7XUlXQQabg/27lefwhUkzbC3NygNI75MdhL1bfTW9g8Ei59RA23oHP7Ry1k3ZFWwQ=
— witness1.smartit.nu/witness1 pIyCDwAAAABqEiEghIp82KWebrw7/oHQwlTAm3g2RKS4+eebl8eO0WH+/iEcxZ75W3u5hNI7TOQtmJbqmNWVuE0tgh0XwzdZsDsUAQ==
— remora.n621.de 2net5wAAAABqEiEgPlfF3V06o0Y+fHM+J5J9s27wgxxcOVSpZ/2g/KSiXCg9DEZI+aVCIobWX9sXTynk5XeU/zZ0WBxtqB0DrAWfBw==
`;
const WITNESS = 'remora.n621.de+da77ade7+BOvN63jn/bLvkieywe8R6UYAtVtNbZpXh34x7onlmtw2';

// C2SP tlog-cosignature, the example at its head; its signed message is shown with 'time 1679315147'.
const EXAMPLE = `example.com/behind-the-sofa
20852163
CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=

— example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=
— witness.example.com/w1 jWbPPwAAAABkGFDLEZMHwSRaJNiIDoe9DYn/zXcrtPHeolMI5OWXEhZCB9dlrDJsX3b2oyin1nPZqhf5nNo0xUe+mbIUBkBIfZ+qnA==
`;

const keyOf = (text: string) => {
  const key = readWitnessKey(text);
  if (key === undefined) throw new Error('no key');
  return key;
};
const noteOf = (text: string) => {
  const note = readCheckpoint(text);
  if (note === undefined) throw new Error('no checkpoint');
  return note;
};

test('of a public log: its witness signed it at the time that it says, and its line is kept to the letter', () => {
  const said = cosignatureBy(noteOf(PUBLIC_LOG), keyOf(WITNESS));
  expect(said).toMatchObject({ atS: 0x6a122120 });
  expect(said && PUBLIC_LOG.endsWith(`\n${said.line}`)).toBe(true);
  expect(writeWitnessKey(keyOf(WITNESS))).toBe(WITNESS);
});

test.each([
  ['another size', PUBLIC_LOG.replace('1432088532', '1432088533')],
  ['another root', PUBLIC_LOG.replace('U7WM', 'U7WN')],
  ['another time', PUBLIC_LOG.replace('2net5wAAAABqEiEg', '2net5wAAAABqEiEh')],
  ['another signature', PUBLIC_LOG.replace('PlfF3V06', 'PlfF3V07')],
  ['a signature that is cut', PUBLIC_LOG.replace('AWfBw==', 'AWf')],
])('%s is not what the witness signed', (_, text) => {
  expect(cosignatureBy(noteOf(text), keyOf(WITNESS))).toBe(false);
});

test('a time beyond those that can be written is no word, though the witness signed it', () => {
  const { privateKey } = generateKeyPairSync('ed25519');
  const key = { name: 'witness.example', key: rawPublicKey(privateKey) };
  const [body = ''] = PUBLIC_LOG.split('\n\n');
  const noteAt = (time: bigint) => {
    const at = Buffer.alloc(8);
    at.writeBigUInt64BE(time);
    const signature = sign(null, Buffer.from(`cosignature/v1\ntime ${time}\n${body}\n`), privateKey);
    const id = Buffer.from(writeWitnessKey(key).split('+')[1] ?? '', 'hex');
    return noteOf(
      `${PUBLIC_LOG}— witness.example ${Buffer.concat([id, at, signature]).toString('base64')}\n`,
    );
  };
  const latest = BigInt(Date.UTC(9999, 11, 31, 23, 59, 59) / 1000);
  expect(cosignatureBy(noteAt(latest), key)).toMatchObject({ atS: Number(latest) });
  expect(cosignatureBy(noteAt(latest + 1n), key)).toBe(false);
});

test.each([
  ['another name', PUBLIC_LOG.replace('— remora.n621.de', '— remora.n621.dx')],
  ['another key id', PUBLIC_LOG.replace('2net5w', '2nes5w')],
])('a line of %s is not of this witness', (_, text) => {
  expect(cosignatureBy(noteOf(text), keyOf(WITNESS))).toBeNull();
});

test('the published example has the form that is read: four bytes of the key, eight of the time, a signature', () => {
  const bytes = noteOf(EXAMPLE).signatures.find(({ name }) => name === 'witness.example.com/w1')?.bytes;
  expect([bytes?.length, bytes?.readBigUInt64BE()]).toEqual([72, 1_679_315_147n]);
});

test.each([
  ['one of a log', 'example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k'],
  ['one with another key id', WITNESS.replace('da77ade7', 'da77ade8')],
  ['one that is cut', WITNESS.slice(0, -4)],
])('%s is no public key of a witness', (_, text) => {
  expect(readWitnessKey(text)).toBeUndefined();
});
