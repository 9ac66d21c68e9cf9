import type { Selection } from './select.ts';

/** What of an entry may be left out, and why. */
const PARTS = `Of an entry whose line has \`erased\`, what it said (\`body\` is null then) or texts that were issued with it were lawfully
erased for ever: the entry of the stream \`erasure\` at that place says of which entries, by whom and why. Shown of it is
that it was made, where it stands, when, by whom and of which kind, and that nothing of it is left out but what that erasure
names; not what it said. Steps of deliveries that were erased are left out, and their hashes stay. Of erasures only those
are here that name something here.

Entries of type \`access\` say who asked for what of these drains, and the envelope of each other entry which client sent it. An entry
of type \`delivery-steps\` tells of all steps of deliveries that were written with it, by a hash of each; its line in
\`entries.ndjson\` holds those that are shown here. Accesses and steps of a drain or patient are picked one by one, so that one
left out is not seen; those of a period are whole. So it is with earlier archives (\`retention\`), with where devices were
(\`device-…\`), and with what was read on a device that was on no drain then (\`unmatched\`). \`rerouted\` entries say what counts for
a drain from then on: of that, what had counted for another drain before stands in the stream of that one, and is in its
bundle.
`;

/** What a stranger finds first in the bundle. */
export const readme = (log: string, { about, indexes }: Selection, size: number): string => `# Audit bundle

${indexes.length} entries of the log \`${log}\`, about ${JSON.stringify(about)}, as its checkpoint of ${size} entries covers
them. It holds patient data: keep it as you would keep the record itself.

    node verify.mjs --key PUBLIC-KEY [--witness PUBLIC-KEY]        Node.js 20 or later
    python3 verify.py --key PUBLIC-KEY [--witness PUBLIC-KEY]      Python 3.8 or later

Get the public key from whoever answers for the log, not from this bundle; \`public-keys.txt\` only says what the log
itself names; and that of a witness from the witness, with which it is checked that it saw this checkpoint too. Both verifiers end with
0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable, and name what is wrong first. They were written apart, need
nothing but Node.js or Python, and are short enough to be read.

| file | what it holds |
| --- | --- |
| \`manifest.json\` | what was asked for, and the SHA-256 of each file |
| \`entries.ndjson\` | each entry: envelope (who, when, which place), what it says, the salt of its commitments, its proof; those of type \`configuration\` hold the settings, rules and calendar in force from then on |
| \`corrections.ndjson\` | of these, what corrected or withdrew another: author, reason, target, replacement |
| \`accesses.ndjson\` | of these, who asked for what and what was answered, or was refused |
| \`resources.ndjson\` | every version of every FHIR resource that the entries issued, to the letter |
| \`deliveries.ndjson\` | each step of what was sent to other systems: when, whereto, what came of it, by whose order |
| \`frames.ndjson\` | texts that those versions share |
| \`checkpoint.txt\` | the signed checkpoint that all proofs lead to (C2SP tlog-checkpoint), with what witnesses said of it (C2SP tlog-cosignature) |
| \`public-keys.txt\` | keys that the log names, oldest first, since the last one that was lost (C2SP signed-note) |

What is shown: each entry is, to the byte, in the log that was signed, at its place and after the one it names, and the
resources are those that were issued with it. A period is whole; a drain is whole from its first entry to the last one here.
What is not: that what was charted is true; that anything was charted at all; that no entry of the drain came after the
last one here. Compare \`checkpoint.txt\` with the one of the same size that was kept elsewhere to see that the log was not
rewritten before it was signed; with the service at hand, \`cli verify FOLDER --key PUBLIC-KEY --checkpoint FILE\` does.

${PARTS}`;
