/** What the command line can do, as it says itself. */
export const USAGE = `Usage: node dist/cli/main.js COMMAND

Commands:
  demo [--once] [--keep-database DIR]
      Sends 72 invented hours of three drains to the service and shows the charts and what reaches an EHR.
      --once               check that the EHR holds exactly what the service issued, and end: 0 yes, 1 no
      --keep-database DIR  keep the database and the logs in DIR, which must not hold one yet

  rules list
      Shows the rule table that ships: each threshold with its source and evidence, on or off.
  rules check FILE
      Shows the rules that would hold with a facility's file, or all that is wrong in it: 0 good, 1 not.

  hl7 check MESSAGE [--mapping FILE]
      Shows what an HL7 v2 message would become by a mapping (DRAINLEDGER_HL7V2), or all that is wrong; sends nothing.

  import FILE [--mapping MAPPING] [--dry-run] [--refused OUT]
      Sends a file of entries to the running service: JSON lines, or CSV by a mapping of its columns. What is refused is
      kept in OUT (FILE.refused), to be mended and sent again. 0 all taken, 1 some refused, 2 the answer was cut.

  keys add CLIENT --scope WORDS [--patient Patient/ID] [--drain ID] --file FILE
  keys list --file FILE
  keys revoke ID --file FILE
      Keys of clients that cannot do OAuth. One is shown once; the file holds only hashes, and a running service sees a
      change at once.

  targets check [FILE]
      Asks each target what it can do and says what it would be sent; sends nothing. 0 all can be used, 1 not.
      Without FILE: the targets of the environment that the service starts with.
  targets list
  targets resume NAME --by WHO --reason WORDS
      The targets as the running service sees them; try one at once that rests or is parked.

  deliveries list [--target T] [--drain D] [--state S]
  deliveries events [--target T] [--drain D]
      What is under way, and what was set aside; every step of every delivery.
  deliveries requeue DELIVERY | --target T [--drain D]   --by WHO --reason WORDS
  deliveries skip DELIVERY                               --by WHO --reason WORDS
  deliveries replay --target T --from TIME --to TIME [--drain D] --by WHO --reason WORDS
      Send again what was set aside, give one up, send again what was recorded in a time. WHO: Practitioner/n1.
  These, targets and import ask the running service: --url URL (else DRAINLEDGER_HOST and DRAINLEDGER_PORT),
  --token-file FILE.

  checkpoint-key new FILE [--origin NAME]
  checkpoint-key show FILE [--origin NAME]
      Makes the key that signs checkpoints, for its owner's eyes only; prints its public half for auditors.
  checkpoint-key rotate OLD NEW --by WHO
      Hands the log over to another key, with the service stopped. WHO: Practitioner/n1.
  checkpoint-key replace NEW --by WHO --reason WORDS
      Names another key where the old one is lost, with the service stopped: it says so in the ledger.

  ledger accept-restored --by WHO --reason WORDS
      Lets the service write again to a ledger that lost entries, with the service stopped: it says so in the ledger.
  ledger copy FILE
      Copies the ledger at one moment, also while the service runs.
  The ledger and its files are those of the environment that the service starts with.

  verify DATABASE|BUNDLE --key PUB [--witness PUB] [--checkpoint FILE]… [--report FILE --sign KEY-FILE]
      Recomputes a copy of the ledger, or an audit bundle, from what is stored, holds it against the checkpoints in it
      and in FILEs kept outside, and names what is wrong first: 0 ok, 1 tampered, 2 incomplete, 3 key unknown, 4 unreadable.
      A bundle can be held only against a checkpoint of its own size; where FILEs hold none it is 2.
      --witness: these must be cosigned by the witness of this key too (dist/witness/witness.js, README).
      --report: appends what it came to, signed with a key made by 'checkpoint-key new', best not that of the log.

  audit-bundle --drain ID | --patient REFERENCE | --from TIME --to TIME   --out FOLDER
      Writes a part of the ledger with its proofs, so that a stranger can check it with Node and nothing else.

  retention [--dry-run]   --by WHO --reason WORDS
      Archives whole closed drains whose newest entry is older than DRAINLEDGER_RETENTION_DAYS, each patient's into an
      audit bundle in DRAINLEDGER_ARCHIVE, verifies it, and says so in the ledger, with the service stopped. It deletes nothing,
      and may be ended at any moment and run again. --dry-run says what it would do, also while the service runs.

  erase --drain ID | --patient REFERENCE [--dry-run]   --by WHO --reason WORDS
      Lawful erasure of whole closed drains, those of a patient together, with the service stopped: removes all that was
      charted and issued, for ever, and says so in the ledger, the rest of which still verifies. --dry-run says what it
      would do and what it cannot reach, also while the service runs.

  export DATABASE --drain ID | --patient REFERENCE | --from TIME --to TIME   [--out FILE]
      Writes all that was recorded of drains as CSV, with what follows from it, also while the service runs. TIMEs are those
      charted for, and may stand beside a drain or patient; either may be left out there. Without FILE: to standard output.

  --help  this text

64 says that it was asked wrongly or cannot be done now, 74 that what it writes does not fit where it goes; no file or folder
is there under its name before it is whole.
`;
