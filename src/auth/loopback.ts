/** What this machine calls itself over its loopback interface. */
import { isIPv4 } from 'node:net';

/**
 * @param host a host name or IP address, as a URL or the field Host writes it, or without the brackets of IPv6
 * @returns true for `localhost`, all of 127.0.0.0/8 (RFC 6890, table 4) and ::1 (RFC 4291, 2.5.3)
 */
export function isLoopback(host: string): boolean {
  const name = host.replace(/^\[(.*)\]$/, '$1').toLowerCase();
  return name === 'localhost' || name === '::1' || (isIPv4(name) && name.startsWith('127.'));
}
