/** Whether the compiled half of the SQLite driver can be trusted on the Node that runs it. */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';

/**
 * From Node 24.19 on, a header that better-sqlite3 12 is compiled with calls this function while memory is collected, where
 * Node aborts the process. The binary that its maintainers ship was compiled before that; one compiled here may not be.
 */
const ABORTS = 'RemoveEnvironmentCleanupHook';

let isChecked = false;

/** @throws {Error} when the driver was compiled so that the process would abort sooner or later */
export function assertSafeDriver(): void {
  if (isChecked) return;
  const addon = createRequire(import.meta.url).resolve('better-sqlite3/build/Release/better_sqlite3.node');
  assertSafeAddon(addon, readFileSync(addon));
  isChecked = true;
}

/** @param bytes of the compiled library */
export function assertSafeAddon(file: string, bytes: Uint8Array): void {
  if (!Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength).includes(ABORTS)) return;
  throw new Error(
    `${file} was compiled with the headers of Node 24.19 or later, with which better-sqlite3 12 aborts the process while ` +
      'memory is collected. Install the binary that its maintainers ship (npm ci with access to its releases), or compile it ' +
      'with the headers of Node 24.18 (npm_config_nodedir), or run Node 20 or 22',
  );
}
