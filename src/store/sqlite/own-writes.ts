/** What the service itself writes, and what the log says of itself. */
import type { LogTree, LogWrites } from '../log-port.ts';
import type { Store } from '../port.ts';
import { createAccessWriter } from './accesses.ts';
import type { Appender } from './append.ts';
import { createConfigurationWriter } from './configurations.ts';
import type { GroupCommit } from './group-commit.ts';
import {
  createCheckpointReader,
  createCheckpointWriter,
  createNoticeReader,
  createNoticeWriter,
} from './notices.ts';
import type { openReader, openWriter } from './open.ts';
import { createOwnEntryWriter } from './own-entries.ts';
import { createTreeReader, type Tree } from './tree.ts';

interface Writing {
  readonly appender: Appender;
  readonly tree: Tree;
  readonly group: GroupCommit;
}

export function createOwnWrites(
  writer: ReturnType<typeof openWriter>,
  options: Parameters<typeof createOwnEntryWriter>[1],
  { appender, tree, group }: Writing,
): LogWrites & Pick<Store, 'configure'> {
  const append = createOwnEntryWriter(writer, options);
  const configure = createConfigurationWriter(writer, append);
  const notice = createNoticeWriter(append);
  const access = createAccessWriter(append);
  const checkpoint = createCheckpointWriter(writer, tree);
  return {
    configure: (body) =>
      group.submit(() => {
        const configured = configure(body);
        if (configured.isNew) appender.endMoved();
        return configured;
      }),
    notice: (said) =>
      group.submit(() => {
        const written = notice(said);
        appender.endMoved();
        return written;
      }),
    access: (actor, bodies) =>
      group.submit(() => {
        for (const body of bodies) access(actor, body);
        appender.endMoved();
      }),
    checkpoint: (sign) => group.submit(() => checkpoint(sign)),
  };
}

export const createLogReads = (reader: ReturnType<typeof openReader>): Omit<LogTree, 'watch'> => ({
  ...createTreeReader(reader),
  newestCheckpoint: createCheckpointReader(reader),
  notices: createNoticeReader(reader),
});

/** Tells whoever watches when the tree has grown, once that is durable. */
export function watchGrowth(tree: Tree) {
  let [grownTo, onGrown] = [tree.size(), (_size: number): void => {}];
  return {
    watch(listener: typeof onGrown): void {
      onGrown = listener;
    },
    look(): void {
      if (tree.size() === grownTo) return;
      grownTo = tree.size();
      onGrown(grownTo);
    },
  };
}
