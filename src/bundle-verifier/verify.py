"""Verifies an audit bundle, with Python 3.8 or later and nothing else; written apart from verify.mjs, and both must agree.
    python3 verify.py [FOLDER] --key PUBLIC-KEY [--witness PUBLIC-KEY]
    exit: 0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable
"""
import argparse, base64, bisect, datetime, hashlib, json, os, re, sys

class Fault(Exception): pass
def must(is_so, code=1):
    if not is_so: raise Fault(code)
def sha(*parts): return hashlib.sha256(b"".join(p.encode() if isinstance(p, str) else p for p in parts)).digest()
b64 = base64.b64decode
# Ed25519 (RFC 8032, 5.1.7), points as (x, y, z, t) on the twisted Edwards curve.
P, L = 2**255 - 19, 2**252 + 27742317777372353535851937790883648493
D, ROOT = -121665 * pow(121666, P - 2, P) % P, pow(2, (P - 1) // 4, P)
def add(a, b):
    u, v = (a[1] - a[0]) * (b[1] - b[0]), (a[1] + a[0]) * (b[1] + b[0])
    c, w = 2 * a[3] * b[3] * D, 2 * a[2] * b[2]
    return (v - u) * (w - c) % P, (w + c) * (v + u) % P, (w - c) * (w + c) % P, (v - u) * (v + u) % P
def times(n, point):
    if n == 0: return 0, 1, 1, 0
    twice = times(n >> 1, add(point, point))
    return add(twice, point) if n & 1 else twice
def point_of(raw):
    y = int.from_bytes(raw, "little") & (2**255 - 1)
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    x = x if x * x % P == square else x * ROOT % P
    must(x * x % P == square)
    return (x, y, 1, x * y % P) if x & 1 == raw[31] >> 7 else (P - x, y, 1, (P - x) * y % P)
BASE = point_of((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))
def is_signed(signature, text, key):
    s = int.from_bytes(signature[32:], "little")
    if len(signature) != 64 or s >= L: return False
    k = int.from_bytes(hashlib.sha512(signature[:32] + key + text.encode()).digest(), "little") % L
    a, b = times(s, BASE), add(point_of(signature[:32]), times(k, point_of(key)))
    return (a[0] * b[2] - b[0] * a[2]) % P == 0 and (a[1] * b[2] - b[1] * a[2]) % P == 0
def root_by(index, size, node, proof):
    """RFC 9162, 2.1.3, from the root down: which of the hashes is which side of which node."""
    must(bool(proof) == (size > 1))
    if size == 1: return node
    k = 1 << (size - 1).bit_length() - 1
    if index < k: return sha(b"\1", root_by(index, k, node, proof[:-1]), proof[-1])
    return sha(b"\1", proof[-1], root_by(index - k, size - k, node, proof[:-1]))

def whole(texts):
    """Texts that were issued together; a number stands for the hole of that number among those written out so far."""
    so_far = {}
    for name, *holes in texts:
        yield [name] + [so_far[h] if isinstance(h, int) else so_far.setdefault(len(so_far), h) for h in holes]

class Erased:
    """What erasures took: of each entry by which, whether the payload too, and what commits to the texts left; and steps."""
    def __init__(self, tombstones):
        self.places, self.entries, steps = set(), {}, []
        for at, said in sorted(tombstones, key=lambda one: one[0]):  # a later one has the last word
            self.places.add(at)
            texts = {left["entry"]: (bytes.fromhex(left["salt"]), left["issued"]) for left in said["texts"]}
            gone = {n for first, last in said["entries"] for n in range(first, min(last + 1, at))}
            self.entries.update({n: (at, n in gone, texts.get(n)) for n in gone.union(texts) if n < at})
            steps += [(first, last, at) for first, last in said["steps"]]
        self.steps = sorted(steps)
    def is_step(self, event, told_at):
        run = self.steps[max(bisect.bisect(self.steps, (event, float("inf"))) - 1, 0):][:1]
        return any(first <= event <= last and told_at < at for first, last, at in run)
NOTHING = Erased([])
def check_entry(e, log, erased):
    """Hash, place and commitments. @returns its envelope and its body, None where that was erased"""
    at, salt, body, says = e["log_index"], e["salt"], e["body"], json.loads(e["envelope"])
    must(sha(b"\3", e["envelope"]).hex() == e["hash"])
    must((says["stream"], says["seq"], says["origin"]) == (e["stream"], e["seq"], log))
    by, is_gone, left = erased.entries.get(at, (None, False, None))
    must("erased" not in e or e["erased"] in erased.places, 2)
    must(e.get("erased") == by)
    must(not is_gone or salt is body is None)
    must(is_gone or None not in (salt, body), 2)
    if not is_gone: must(sha(b"\2", bytes.fromhex(salt), body).hex() == says["payload"])
    if by is None: left = bytes.fromhex(salt), says["issued"]
    if left is None: must(not e["issued"])
    else: must(sha(b"\4", left[0], *(text + "\n" for text in e["issued"])).hex() == left[1])
    return says, None if body is None else json.loads(body)
def check_proof(e, size, root):
    must(e["log_index"] < size, 2)
    leaf = sha(b"\0", bytes.fromhex(e["hash"]))
    must(root_by(e["log_index"], size, leaf, [b64(p) for p in e["proof"]]) == root)

def check(folder, given, witness=None, at_place=lambda place: None):
    """Tells where it is, so that what is wrong first has a place. @raises Fault with the exit code"""
    at_place("the files of the bundle")
    read = lambda name: open(os.path.join(folder, name), encoding="utf-8", newline="\n").read()
    manifest = json.loads(read("manifest.json"))
    log, about = manifest["log"], manifest["about"]
    must(manifest["format"] in ("drainledger-audit-bundle@v1", "drainledger-audit-bundle@v2"), 4)
    must(all(sha(read(name)).hex() == due for name, due in manifest["files"].items()))
    body, lines = read("checkpoint.txt").split("\n\n")
    origin, size, root = body.split("\n")
    size, root = int(size), b64(root)
    lines_of = lambda name: [json.loads(line) for line in read(name).split("\n")[:-1]]
    frames = {f["name"]: f["text"] for f in lines_of("frames.ndjson")}
    must(all(sha(b"\5", text).hex()[:32] == name for name, text in frames.items()))
    entries, tombstones, place_of = lines_of("entries.ndjson"), [], "entry {log_index} (stream {stream}, {seq})".format_map
    for e in (e for e in entries if e["stream"] == "erasure"):
        at_place(place_of(e))
        tombstones.append((e["log_index"], check_entry(e, log, NOTHING)[1]))
        check_proof(e, size, root)
    erased = Erased(tombstones)
    first, end = about.get("from_index"), about.get("to_index")
    ends, keys, restores, last, time, resources, corrections, accesses, deliveries, of_period = {}, [], 0, -1, "", *[""] * 4, 0
    for e in entries:
        stream, seq, at = e["stream"], e["seq"], e["log_index"]
        at_place(place_of(e))
        must(at > last)
        before, (says, said) = ends.get(stream), check_entry(e, log, erased)
        is_picked = stream == "erasure" or first is None and (
            stream.startswith(("access.", "device-")) or stream in ("unmatched", "delivery", "retention"))
        is_next = not before or seq == before["seq"] + 1
        must(is_next or is_picked and seq > before["seq"], 2)
        prev = sha("genesis", log, stream).hex() if seq == 1 else before and before["hash"] if is_next else None
        must(prev in (None, says["prev"]))
        must(says["recorded_at"] >= time)
        is_of_period = first is not None and first <= at <= end
        must(not is_of_period or at == first + of_period, 2)
        of_period += is_of_period
        must(before or seq == 1 or is_of_period and stream != "log" or is_picked, 2)
        must(is_of_period or first is None or stream in ("log", "erasure"))
        check_proof(e, size, root)
        for name, *holes in (one for text in e["issued"] for one in whole(json.loads(text))):
            must(name in frames, 2)
            text = re.sub("\1(.)", lambda m: holes[ord(m[1]) - 32], frames[name], flags=re.S)
            resources += '{"log_index":%d,"resource":%s}\n' % (at, text)
        line = '{"log_index":%d,"recorded_at":"%s","body":%s}\n' % (at, says["recorded_at"], e["body"])
        kind = said and said.get("kind")
        corrections += line if kind in ("corrected", "entered-in-error") else ""
        accesses += line if kind == "access" else ""
        steps, listed = e.get("steps", []), stream == "delivery" and said or {"first": 0, "hashes": []}
        numbers, hashes = [s["event"] for s in steps], dict(enumerate(listed["hashes"], listed["first"]))
        must(numbers == sorted(set(numbers)))
        must(all(sha(b"\6", bytes.fromhex(s["salt"]), s["text"]).hex() == hashes.get(s["event"]) for s in steps))
        must(not any(erased.is_step(n, at) for n in numbers))
        must(is_picked or len(steps) == sum(not erased.is_step(n, at) for n in hashes), 2)
        deliveries += "".join('{"log_index":%d,"event":%d,"step":%s}\n' % (at, s["event"], s["text"]) for s in steps)
        restores += stream == "log" and says["type"] == "restored"
        if stream == "log" and says["type"] == "checkpoint-key":
            keys.append((b64(said["key"]), b64(said.get("signature", "")), said.get("lost"), (at, said.get("reason"))))
        ends[stream], last, time = e, at, says["recorded_at"]
    at_place("what the entries say together")
    must(len(entries) == manifest["entries"] and (first is None or of_period and first + of_period - 1 == end), 2)
    must([sha(t).hex() for t in (resources, corrections, accesses, deliveries)] ==
         [manifest["files"][f"{n}.ndjson"] for n in ("resources", "corrections", "accesses", "deliveries")])
    at_place("the keys of the log")
    named, replaced = [], [told for *_, lost, told in keys if lost is not None]
    for key, signature, lost, _ in keys:
        pair = "\n".join(base64.b64encode(k).decode() for k in [*named[-1:], key])
        must(lost is not None or not named or is_signed(signature, f"drainledger checkpoint key\n{log}\n{pair}\n", named[-1]))
        must(lost is None or named and named[-1] == b64(lost))
        named = [*named, key] if lost is None else [key]
    at_place("the checkpoint")
    must(origin == log + (f"/restored-{restores}" if restores else ""))
    must(given is not None, 3)
    must(b64(given.split("+", 2)[2])[1:] in named, 3)
    key_id = sha(origin, "\n\1", named[-1])[:4]
    signers = [(name, b64(s)) for name, s in re.findall(r"^— (\S+) (\S+)$", lines, re.M)]
    signed = [s[4:] for name, s in signers if name == origin and s[:4] == key_id]
    must(signed, 3)
    must(is_signed(signed[0], body + "\n", named[-1]))
    told = f"{len(entries)} entries of {log}, all in its checkpoint of {size} entries, signed by {given}"
    gone = sum(e["body"] is None for e in entries)
    told += f"; of them lawfully erased: {gone}" if gone else ""
    for index, reason in replaced: told += f"; entry {index} says that a key was lost: {reason}"
    if witness is None: return told
    at_place(f"the cosignature of {witness}")
    by, by_id, by_key = witness.split("+", 2)
    by_key = b64(by_key)
    must(len(by_key) == 33 and by_key[0] == 4 and sha(by, "\n", by_key)[:4].hex() == by_id, 3)
    words = [s for name, s in signers if name == by and s[:4].hex() == by_id]
    must(words, 2)
    time = int.from_bytes(words[0][4:12], "big")
    must(time <= 253402300799)  # 9999-12-31T23:59:59Z: no later one can be written
    must(is_signed(words[0][12:], f"cosignature/v1\ntime {time}\n{body}\n", by_key[1:]))
    return f"{told}; cosigned by {by} at {datetime.datetime.fromtimestamp(time, datetime.timezone.utc):%Y-%m-%dT%H:%M:%S}.000Z"

def verify(folder, given, witness=None):
    """The exit code, and what to say."""
    places = [""]
    try: return 0, f"ok: {check(folder, given, witness, places.append)}"
    except Fault as fault: code = fault.args[0]
    except (KeyError, ValueError, OSError, IndexError, TypeError, AttributeError): code = 4
    return code, f"{('', 'tampered', 'incomplete', 'key unknown', 'unreadable')[code]}: {places[-1]}"

if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="Verifies an audit bundle.")
    asked.add_argument("folder", nargs="?", default=os.path.dirname(os.path.abspath(__file__)))
    asked.add_argument("--key")
    asked.add_argument("--witness")
    code, text = verify(**{"given" if name == "key" else name: value for name, value in vars(asked.parse_args()).items()})
    try: print(text, flush=True)
    except OSError: os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # where nobody reads it the exit code says it all the same
    sys.exit(code)
