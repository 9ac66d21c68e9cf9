"""Runs the verifier of bundles in Python over many: a JSON line [folder, key, witness] each on stdin, an exit code each on stdout."""
import json, os, sys

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "src", "bundle-verifier"))
from verify import verify

for line in sys.stdin: print(verify(*json.loads(line))[0])
