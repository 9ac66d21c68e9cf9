/** What the service itself writes, and what the log says of itself. */
import type { LogTree, LogWrites } from '../log-port.ts';
import type { Store } from '../port.ts';
import type { UnmappedStore } from '../unmapped-port.ts';
import { createAccessWriter } from './accesses.ts';
import type { Appender } from './append.ts';
import { createCheckpointReader, createCheckpointWriter, createCosignatureWriter } from './checkpoints.ts';
import { createConfigurationWriter } from './configurations.ts';
import { createEraser } from './erase.ts';
import type { GroupCommit } from './group-commit.ts';
import { createNewestCheck } from './newest-check.ts';
import { createNoticeReader, createNoticeWriters } from './notices.ts';
import type { openReader, openWriter } from './open.ts';
import { createOwnEntryWriter } from './own-entries.ts';
import { createTreeReader, type Tree } from './tree.ts';
import { createUnmappedWriter } from './unmapped.ts';

interface Writing {
  readonly appender: Appender;
  readonly tree: Tree;
  readonly group: GroupCommit;
}

export function createOwnWrites(
  writer: ReturnType<typeof openWriter>,
  options: Parameters<typeof createOwnEntryWriter>[1],
  { appender, tree, group }: Writing,
): LogWrites & Pick<Store, 'configure'> & Pick<UnmappedStore, 'keepUnmapped' | 'settleUnmapped'> {
  const append = createOwnEntryWriter(writer, options);
  const configure = createConfigurationWriter(writer, append);
  const { notice, archived, heartbeat } = createNoticeWriters(append);
  const access = createAccessWriter(append);
  const erase = createEraser(writer, append, appender.erased);
  const unmapped = createUnmappedWriter(writer, append);
  const checkpoint = createCheckpointWriter(writer, tree);
  const cosign = createCosignatureWriter(writer);
  /** Something may have been appended beside the entries of senders. */
  const own = <T>(run: () => T, submit = group.submit): Promise<T> =>
    submit(() => {
      const value = run();
      appender.endMoved();
      return value;
    });
  return {
    configure: (body) => own(() => configure(body)),
    notice: (said) => own(() => notice(said)),
    archived: (actor, body) => own(() => archived(actor, body)),
    erase: (actor, order) => own(() => erase(actor, order)),
    heartbeat: (body) => own(() => heartbeat(body), group.defer),
    access: (actor, bodies) =>
      own(() => {
        for (const body of bodies) access(actor, body);
      }, group.submitFirst),
    keepUnmapped: (message) => own(() => unmapped.keep(message)),
    settleUnmapped: (hash, settled) => own(() => unmapped.settle(hash, settled)),
    checkpoint: (sign) => group.submit(() => checkpoint(sign)),
    cosign: (size, said) => group.submit(() => cosign(size, said)),
  };
}

export const createLogReads = (reader: ReturnType<typeof openReader>): Omit<LogTree, 'watch'> => ({
  ...createTreeReader(reader),
  ...createCheckpointReader(reader),
  notices: createNoticeReader(reader),
  newestFault: createNewestCheck(reader),
});

/** Tells whoever watches when the tree has grown, once that is durable. */
export function watchGrowth(tree: Tree) {
  const listeners = new Set<(size: number) => void>();
  let grownTo = tree.size();
  return {
    watch(listener: (size: number) => void): () => void {
      listeners.add(listener);
      return () => void listeners.delete(listener);
    },
    look(): void {
      if (tree.size() === grownTo) return;
      grownTo = tree.size();
      for (const listener of listeners) listener(grownTo);
    },
  };
}
