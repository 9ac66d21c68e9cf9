/** Sources: RFC 6890, table 4 (127.0.0.0/8); RFC 4291, 2.5.3 (::1); RFC 6761, 6.3 (localhost). */
import { expect, test } from 'vitest';
import { isLoopback } from '../../src/auth/loopback.ts';

test.each(['localhost', 'LOCALHOST', '127.0.0.1', '127.0.0.2', '127.255.255.254', '::1', '[::1]'])(
  '%s is this machine',
  (host) => {
    expect(isLoopback(host)).toBe(true);
  },
);

test.each([
  ...['', '0.0.0.0', '::', '126.255.255.255', '128.0.0.1', '127.1', '127.999.0.1', '[127.0.0.1', '::2'],
  ...['localhost.evil.example', '127.0.0.1.evil.example', 'evil.example', '10.0.0.1', '[fe80::1]'],
])('%j is not', (host) => {
  expect(isLoopback(host)).toBe(false);
});
