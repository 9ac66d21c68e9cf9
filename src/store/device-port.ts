/** What the store knows of devices: on which drain each was when, and which drain each entry that named one counts for. */
import type { MovableChain } from '../domain/book/book.ts';
import type { DeviceBook } from '../domain/devices/device.ts';
import type { EpochMs } from '../domain/numbers/units.ts';
import type { Reference } from '../domain/vocabulary/entry.ts';

/** An entry that named a device, with all that changed it. */
export interface RoutedChain extends MovableChain {
  /** Name of the device. */
  readonly device: string;
  /** Which it counts for now; null: none, it is unmatched. */
  readonly drain: string | null;
}

/** What deciding may ask of devices. Devices and chains go by the short names made from their identifiers. */
export interface DeviceLook {
  /** Of a device that nobody has named yet, one of which nothing is known. */
  device(device: string): DeviceBook;
  /** The chain that an entry belongs to; undefined where it names no device. */
  chain(entryId: string): RoutedChain | undefined;
  isDrain(drain: string): boolean;
  /** Whether an entry of that name was lawfully erased, or, as a drain is named after its placement, a drain. */
  isErased(name: string): boolean;
  /** Whom a drain is linked to now; null: nobody. */
  patientOf(drain: string): Reference | null;
  /** How many versions of something that hangs on the stream of a device were issued. */
  versionsIssued(stream: string, factKey: string): number;
  /** Chains of a device that were read from (included) to (excluded), in order of time; void ones are left out. */
  chainsBetween(device: string, from: EpochMs, to: EpochMs): readonly RoutedChain[];
}

/** Changes of the indexes that are made from the entries. */
export interface DeviceWrites {
  /** The chain that the entry belongs to, as it stands with it. */
  readonly chain?: {
    /** Entry id of its first form. */
    readonly chain: string;
    readonly device: string;
    /** When it was read; null: it is entered in error. */
    readonly readMs: EpochMs | null;
    readonly drain: string | null;
  };
  /** Chains that count for another drain from now on. */
  readonly rerouted?: { readonly chains: readonly string[]; readonly drain: string | null };
  /** The device that the entry is about, and the drain that it says it is on. */
  readonly about?: { readonly device: string; readonly drain: string | null };
}

/** Names the stream of a device; no drain is called so. */
export const deviceStream = (device: string): string => `device-${device}`;

/** The device whose stream it is; undefined for any other stream. */
export const deviceOfStream = (stream: string): string | undefined => /^device-(.+)$/.exec(stream)?.[1];

/** The stream of what named a device that was on no drain then. */
export const UNMATCHED = 'unmatched';
