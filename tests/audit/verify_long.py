"""Verifies bundles of a period of so many entries as each argument says; for each a JSON line: the exit code, what was said, s of processor time."""
import base64, hashlib, json, os, sys, tempfile, time

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "src", "bundle-verifier"))
from verify import verify

LOG, SALT = "long.example", "00" * 16
def sha(*parts): return hashlib.sha256(b"".join(part if isinstance(part, bytes) else part.encode() for part in parts))

def entries(count):
    """A chain of readings of one drain, with the envelope's fields that a verifier reads."""
    prev, body = sha("genesis", LOG, "d1").hexdigest(), '{"kind":"reading"}'
    payload, issued = sha(b"\2", bytes(16), body).hexdigest(), sha(b"\4", bytes(16)).hexdigest()
    for at in range(count):
        says = {"stream": "d1", "seq": at + 1, "origin": LOG, "prev": prev, "recorded_at": "2026-11-20T08:00:00.000Z"}
        envelope = json.dumps({**says, "type": "reading", "payload": payload, "issued": issued})
        prev = sha(b"\3", envelope).hexdigest()
        yield {"log_index": at, "stream": "d1", "seq": at + 1, "envelope": envelope, "hash": prev, "salt": SALT, "body": body, "issued": []}

def proven(all_entries):
    """Levels of the tree from the leaves up, by their number a power of two: the proof is each neighbour on the way."""
    levels = [[sha(b"\0", bytes.fromhex(e["hash"])).digest() for e in all_entries]]
    while len(levels[-1]) > 1:
        levels.append([sha(b"\1", *levels[-1][n:n + 2]).digest() for n in range(0, len(levels[-1]), 2)])
    for e in all_entries:
        e["proof"] = [base64.b64encode(level[(e["log_index"] >> high) ^ 1]).decode() for high, level in enumerate(levels[:-1])]
    return base64.b64encode(levels[-1][0]).decode()

def write(folder, count):
    of_log = list(entries(count))
    root = proven(of_log)
    files = {f"{name}.ndjson": "" for name in ("frames", "resources", "corrections", "accesses", "deliveries")}
    files["checkpoint.txt"] = f"{LOG}\n{count}\n{root}\n\n"
    files["entries.ndjson"] = "".join(f"{json.dumps(e)}\n" for e in of_log)
    about = {"from_index": 0, "to_index": count - 1}
    manifest = {"format": "drainledger-audit-bundle@v2", "log": LOG, "about": about, "entries": count}
    sums = {name: sha(text).hexdigest() for name, text in files.items()}
    files["manifest.json"] = json.dumps({**manifest, "files": sums})
    for name, text in files.items():
        with open(os.path.join(folder, name), "w") as file: file.write(text)

for count in map(int, sys.argv[1:]):
    with tempfile.TemporaryDirectory() as folder:
        write(folder, count)
        began = time.process_time()
        code, said = verify(folder, None)
        print(json.dumps({"code": code, "said": said, "seconds": time.process_time() - began}))
