/**
 * Verifies an audit bundle. This one file goes into every bundle as verify.mjs, to be run with Node 20 or later and
 * nothing else for as long as there is one: so it imports nothing, and says again what it checks.
 *   node verify.mjs [FOLDER] --key PUBLIC-KEY     exit: 0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable
 */
import { createHash, verify } from 'node:crypto';
import { createReadStream, readFileSync, realpathSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
/** @throws {Error} that carries the verdict, unless it is so */
function must(isSo, text, code = 1) {
    if (!isSo)
        throw Object.assign(new Error(text), { verdict: { code, text } });
}
const sha256 = (...parts) => parts.reduce((sum, part) => sum.update(part), createHash('sha256')).digest();
const hex = (...parts) => sha256(...parts).toString('hex');
const bytes = (base64) => Buffer.from(base64, 'base64');
/** @param key C2SP verifier key, or null where none is known */
export async function verifyBundle(folder, key) {
    try {
        return { code: 0, text: await check(folder, key) };
    }
    catch (error) {
        if (error instanceof Error && 'verdict' in error)
            return error.verdict;
        return { code: 4, text: `the bundle cannot be read: ${error instanceof Error ? error.message : error}` };
    }
}
async function check(folder, key) {
    const manifest = JSON.parse(readFileSync(join(folder, 'manifest.json'), 'utf8'));
    must(manifest.format === 'drainledger-audit-bundle@v1', 'manifest.json is of another kind of bundle', 4);
    for (const [name, due] of Object.entries(manifest.files))
        must((await fileHash(folder, name)) === due, `${name} is not the file that the manifest lists`);
    const head = readHead(readFileSync(join(folder, 'checkpoint.txt'), 'utf8'));
    const frames = await readFrames(folder);
    const names = ['resources', 'deliveries', ...Object.values(FILES)];
    const said = new Map(names.map((name) => [`${name}.ndjson`, createHash('sha256')]));
    const say = (name, text) => said.get(name)?.update(text);
    const ends = new Map();
    const notices = [];
    const { from_index = 0, to_index = from_index - 1 } = manifest.about;
    let [count, last, reached, recordedAt] = [0, -1, from_index - 1, ''];
    for await (const line of linesOf(folder, 'entries.ndjson')) {
        const entry = JSON.parse(line);
        const place = `entry ${entry.log_index} (stream ${entry.stream}, ${entry.seq})`;
        must(entry.log_index > last, `${place}: it stands out of order`);
        const envelope = checkEntry(entry, place, manifest, ends.get(entry.stream));
        must(envelope.recorded_at >= recordedAt, `${place}: it was recorded before the entry before it`);
        reached = checkRange(manifest, entry, place, ends.has(entry.stream), reached);
        checkProof(entry, place, head);
        tell(entry, place, envelope.recorded_at, frames, say);
        tellSteps(entry, place, isPicked(manifest, entry.stream), say);
        if (entry.stream === 'log')
            notices.push({ ...entry, type: envelope.type });
        ends.set(entry.stream, entry);
        [count, last, recordedAt] = [count + 1, entry.log_index, envelope.recorded_at];
    }
    must(count === manifest.entries, `${manifest.entries} entries are listed, and ${count} are here`, 2);
    must(reached === to_index, `entry ${reached + 1} is missing`, 2);
    for (const [name, sum] of said)
        must(sum.digest('hex') === manifest.files[name], `${name} is not what the entries say`);
    const told = checkSignature(head, notices, manifest.log, key);
    return `${count} entries of ${manifest.log}, all in its checkpoint of ${head.size} entries, signed by ${key}${told}`;
}
async function fileHash(folder, name) {
    must(/^[A-Za-z-]+\.(ndjson|txt|mjs|md)$/.test(name), `${name} is no file of a bundle`);
    const sum = createHash('sha256');
    for await (const part of createReadStream(join(folder, name)))
        sum.update(part);
    return sum.digest('hex');
}
/** By line feeds alone: a note may hold other characters that some take for the end of a line. */
async function* linesOf(folder, name) {
    let rest = '';
    for await (const part of createReadStream(join(folder, name), 'utf8')) {
        const lines = `${rest}${part}`.split('\n');
        rest = lines.pop() ?? '';
        yield* lines;
    }
    if (rest !== '')
        yield rest;
}
/** Texts that many resources share, by the first 128 bits of SHA-256(0x05 || text). */
async function readFrames(folder) {
    const frames = new Map();
    for await (const line of linesOf(folder, 'frames.ndjson')) {
        const { name, text } = JSON.parse(line);
        const isNamedSo = hex(Buffer.of(5), text).slice(0, 32) === name;
        must(isNamedSo, `frame ${name}: its text is not the one it is named after`);
        frames.set(name, text);
    }
    return frames;
}
/** Hash, chain and commitments: 0x03 envelope, 0x02 payload, 0x04 issued texts; the first of a stream follows its genesis. */
function checkEntry(entry, place, manifest, before) {
    const { stream, seq, envelope, hash, body, issued } = entry;
    must(hex(Buffer.of(3), envelope) === hash, `${place}: its hash is not that of its envelope`);
    const said = JSON.parse(envelope);
    must(said.stream === stream && said.seq === seq, `${place}: its envelope is of another place`);
    must(said.origin === manifest.log, `${place}: it is of the log ${said.origin}`);
    const isNext = before === undefined || seq === before.seq + 1;
    must(isNext || (isPicked(manifest, stream) && seq > before.seq), `${place}: one before it is missing`, 2);
    const prev = seq === 1 ? hex(`genesis${manifest.log}${stream}`) : isNext ? before?.hash : undefined;
    must(prev === undefined || said.prev === prev, `${place}: the entry before it is not the one it names`);
    const salt = Buffer.from(entry.salt, 'hex');
    must(hex(Buffer.of(2), salt, body) === said.payload, `${place}: its payload is not the one it commits to`);
    const texts = issued.map((text) => `${text}\n`).join('');
    const isIssued = hex(Buffer.of(4), salt, texts) === said.issued;
    must(isIssued, `${place}: the texts issued with it are not those it commits to`);
    return said;
}
/** Of accesses, devices, deliveries, archives and what was unmatched only what was about the drain or patient is here. */
const isPicked = ({ about }, stream) => about.from_index === undefined && /^(access\.|device-|(unmatched|delivery|retention)$)/.test(stream);
/** A period is whole from end to end; all else, and the keys, from the first of its stream on. @param reached the last so far */
function checkRange(manifest, entry, place, before, reached) {
    const { log_index: at, stream, seq } = entry;
    const { from_index: from, to_index: to } = manifest.about;
    const isOfPeriod = from !== undefined && to !== undefined && at >= from && at <= to;
    must(!isOfPeriod || at === reached + 1, `entry ${reached + 1} is missing`, 2);
    const mayBegin = seq === 1 || (isOfPeriod && stream !== 'log') || isPicked(manifest, stream);
    must(before || mayBegin, `${place}: what comes before it in its stream is missing`, 2);
    must(isOfPeriod || from === undefined || stream === 'log', `${place}: it is not of the period`);
    return isOfPeriod ? at : reached;
}
/** C2SP tlog-checkpoint: origin, size, root; a blank line; signatures. */
function readHead(text) {
    const [body = '', lines = ''] = text.split('\n\n');
    const [origin = '', size = '', root = ''] = body.split('\n');
    const signers = [...lines.matchAll(/^— (\S+) (\S+)$/gm)];
    const signatures = signers.map(([, name, signed = '']) => ({ name, signed: bytes(signed) }));
    must(/^\d+$/.test(size) && bytes(root).length === 32, 'checkpoint.txt is no checkpoint', 4);
    return { body: `${body}\n`, origin, size: Number(size), root: bytes(root), signatures };
}
/** RFC 9162, 2.1.3.2, of the leaf SHA-256(0x00 || entry hash). */
function checkProof({ log_index, hash, proof }, place, { size, root }) {
    must(log_index < size, `${place}: the checkpoint does not cover it`, 2);
    let [node, end, sum] = [log_index, size - 1, sha256(Buffer.of(0), Buffer.from(hash, 'hex'))];
    for (const each of proof.map(bytes)) {
        must(end > 0, `${place}: its proof is too long`);
        const isRight = node % 2 === 1 || node === end;
        sum = isRight ? sha256(Buffer.of(1), each, sum) : sha256(Buffer.of(1), sum, each);
        while (isRight && node % 2 === 0 && node !== 0)
            [node, end] = [node / 2, Math.floor(end / 2)];
        [node, end] = [Math.floor(node / 2), Math.floor(end / 2)];
    }
    must(end === 0 && sum.equals(root), `${place}: its proof does not lead to the checkpoint`);
}
const FILES = { corrected: 'corrections', 'entered-in-error': 'corrections', access: 'accesses' };
/** What resources.ndjson, corrections.ndjson and accesses.ndjson must say of the entry. */
function tell(entry, place, at, frames, say) {
    const { log_index, body } = entry;
    for (const [name = '', ...holes] of entry.issued.flatMap((stored) => JSON.parse(stored))) {
        const frame = frames.get(name);
        must(frame !== undefined, `${place}: the frame ${name} of a text issued with it is missing`, 2);
        const parts = frame.split('\u0001');
        const filled = parts.slice(1).map((part) => (holes[part.charCodeAt(0) - 32] ?? '') + part.slice(1));
        say('resources.ndjson', `{"log_index":${log_index},"resource":${[parts[0], ...filled].join('')}}\n`);
    }
    const { kind } = JSON.parse(body);
    const line = `{"log_index":${log_index},"recorded_at":"${at}","body":${body}}\n`;
    if (Object.hasOwn(FILES, kind))
        say(`${FILES[kind]}.ndjson`, line);
}
/** The same of deliveries.ndjson: each step has its hash, 0x06 salt text, at its place in the list of the entry. */
function tellSteps({ log_index, stream, body, steps = [] }, place, isPart, say) {
    const { first = 0, hashes = [] } = JSON.parse(stream === 'delivery' ? body : '{}');
    for (const [n, { event, salt, text }] of steps.entries()) {
        const isNamed = hex(Buffer.of(6), Buffer.from(salt, 'hex'), text) === hashes[event - first];
        const isSo = isNamed && event > (steps[n - 1]?.event ?? -1);
        must(isSo, `${place}: delivery event ${event} is not as it tells it`);
        say('deliveries.ndjson', `{"log_index":${log_index},"event":${event},"step":${text}}\n`);
    }
    must(isPart || steps.length === hashes.length, `${place}: a delivery event that it tells of is missing`, 2);
}
/** Each handed over by the one before. One that replaces a lost one begins anew: the lost one vouches for nothing since. */
function keysOf(notices, log) {
    let [keys, told] = [[], ''];
    for (const { log_index, body } of notices.filter(({ type }) => type === 'checkpoint-key')) {
        const { key = '', lost, ...said } = JSON.parse(body);
        const old = keys.at(-1);
        const handed = `drainledger checkpoint key\n${log}\n${old?.toString('base64')}\n${key}\n`;
        const isHanded = old === undefined || isSigned(bytes(said.signature ?? ''), handed, old);
        const isDue = lost === undefined ? isHanded : old?.equals(bytes(lost)) === true;
        must(isDue, `entry ${log_index}: the key before it did not sign it, nor is that the one said to be lost`);
        keys = lost === undefined ? [...keys, bytes(key)] : [bytes(key)];
        if (lost !== undefined)
            told += `; entry ${log_index} says that a key was lost: ${said.reason}`;
    }
    return { keys, told };
}
/** The key given must be one that the log names; the newest has signed. @returns what is to be told beside */
function checkSignature(head, notices, log, given) {
    const { keys, told } = keysOf(notices, log);
    const restores = notices.filter(({ type }) => type === 'restored').length;
    const origin = restores === 0 ? log : `${log}/restored-${restores}`;
    must(head.origin === origin, `the checkpoint is of ${head.origin}, and the entries are of ${origin}`);
    must(given !== null, 'no key was given: the signature was not checked', 3);
    const trusted = bytes((given ?? '').split('+').slice(2).join('+')).subarray(1);
    const isNamed = keys.some((key) => key.equals(trusted));
    must(isNamed, `the key that was given is not one that the log names${told}`, 3);
    const newest = keys.at(-1);
    const id = sha256(`${origin}\n`, Buffer.of(1), newest).subarray(0, 4);
    const found = head.signatures.find((each) => each.name === origin && each.signed.subarray(0, 4).equals(id));
    must(found !== undefined, 'the checkpoint is not signed by the key of the log', 3);
    must(isSigned(found.signed.subarray(4), head.body, newest), 'the signature does not fit the checkpoint');
    return told;
}
function isSigned(signature, text, key) {
    const der = Buffer.concat([Buffer.from('302a300506032b6570032100', 'hex'), key]);
    return verify(null, Buffer.from(text), { key: der, format: 'der', type: 'spki' }, signature);
}
async function main(args) {
    const at = args.indexOf('--key');
    const [folder = fileURLToPath(new URL('.', import.meta.url))] = at < 0 ? args : args.toSpliced(at, 2);
    const { code, text } = await verifyBundle(folder, at < 0 ? null : (args[at + 1] ?? null));
    console.log(code === 0 ? `ok: ${text}` : text);
    process.exitCode = code;
}
if (process.argv[1] !== undefined && realpathSync(process.argv[1]) === fileURLToPath(import.meta.url))
    await main(process.argv.slice(2));
