/** HTTP servers of tests: on a free port of this machine, and gone when the test is. */
import type { Server } from 'node:http';
import type { AddressInfo } from 'node:net';

/** @returns its address, without a path, once it listens */
export async function listening(server: Server): Promise<string> {
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return addressOf(server);
}

/** Of one that listens. */
export const addressOf = (server: Server): string =>
  `http://127.0.0.1:${(server.address() as AddressInfo).port}`;

/** Whoever still waits for an answer gets none. */
export async function closed(server: Server): Promise<void> {
  server.closeAllConnections();
  await new Promise((resolve) => server.close(resolve));
}
