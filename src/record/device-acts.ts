/** What is charted of devices themselves: that one exists, and on which drain it was when. */
import type { Sender } from '../audit/chain.ts';
import { writeBody } from '../audit/entry-text.ts';
import {
  type DeviceBody,
  type DeviceBook,
  isRegistered,
  type Period,
  type Placement,
  staysChanged,
  timeChanged,
} from '../domain/devices/device.ts';
import { deviceAfter } from '../domain/devices/device-after.ts';
import { drainAt, MOST_BEHIND_MS } from '../domain/devices/device-whereabouts.ts';
import { epochMs } from '../domain/numbers/units.ts';
import type { Identifier, Reference } from '../domain/vocabulary/entry.ts';
import { identifierText } from '../domain/vocabulary/identifier-text.ts';
import { type DeviceLook, deviceStream } from '../store/device-port.ts';
import type { AppendOutcome, AppendRequest, Decision, Place, Store } from '../store/port.ts';
import { type RecordSettings, type Tools, toolsOf } from './drain-issue.ts';
import {
  erasedBefore,
  falseClaim,
  laterThanNow,
  type NotTaken,
  noSuchDrain,
  outOfBounds,
} from './incoming.ts';
import { hashOf, nameOf } from './names.ts';
import { issuesOfDevice } from './registry-issue.ts';
import { type MovedChain, reroutes } from './reroutes.ts';
import { notOfItsPatient, readTimeOfChain } from './routing.ts';

/** A device is named after what it is known by. */
export const deviceNameOf = (device: Identifier): string => nameOf(device);

export interface IncomingAct {
  /** Name of the device that it is about. */
  readonly device: string;
  readonly body: DeviceBody;
  /** Canonical text of what was sent. */
  readonly request: string;
  /** An entry of the same kind that already stands under the identifier will do, whatever it says. */
  readonly unlessKnown?: boolean;
  /** Whom its sender says the drain is of. */
  readonly patient?: Reference;
  /** Whether its sender may reach a drain that it concerns; anybody may unless given. */
  readonly mayReach?: (drain: string) => boolean;
  /** Its sender may not read what was charted: no refusal quotes to them whose a drain is. */
  readonly quotesNothing?: true;
}

/** Records one, with all that it moves from drain to drain. @param sentBy the client that sent it, if one did */
export type RecordAct = (act: IncomingAct, sentBy?: Sender) => Promise<AppendOutcome>;

export function createRecordAct(store: Store, settings: RecordSettings): RecordAct {
  const tools = toolsOf(settings);
  return async (act, sentBy) => {
    const [outcome] = await store.append([{ ...requestOf(act, tools), sentBy }]);
    if (outcome === undefined) throw new Error('a unit of one entry had no outcome');
    return outcome;
  };
}

function requestOf(act: IncomingAct, tools: Tools): AppendRequest {
  const { device, body, request } = act;
  return {
    entryId: nameOf(body.identifier),
    identifier: body.identifier,
    requestHash: hashOf(`${deviceStream(device)}\n${request}`),
    isAnswer: (receipt) => act.unlessKnown === true && JSON.parse(receipt).kind === body.kind,
    drain: () => ({ stream: deviceStream(device), drain: null }),
    linksPatient: null,
    decide: (_subject, place, devices) => decision(place, act, devices, tools),
  };
}

function decision(place: Place, act: IncomingAct, devices: DeviceLook, tools: Tools): Decision {
  const { device, body } = act;
  const beyond = outOfBounds({ pointer: '/device', value: device });
  const isBeyond = (drain: string): boolean => act.mayReach?.(drain) === false;
  const named = stayIn(body)?.drain;
  // Before it is looked for: whether there is such a drain is not for every client to know.
  if (named !== undefined && isBeyond(named)) return { refused: beyond };
  const refused = notTakenAct(place, act, devices, tools);
  if (refused !== null) return { refused };
  const before = devices.device(device);
  const isUnknown = before.registration === null || (stayIn(body) !== null && !isRegistered(before));
  if (body.kind !== 'registered' && isUnknown) return { refused: noSuchDevice(device) };
  const after = deviceAfter(before, body);
  if ('refused' in after) {
    // A target that is not there is answered as one of another drain is, or the answer would tell of that.
    const isTold = act.mayReach === undefined || (after.of !== null && !isBeyond(after.of));
    return { refused: isTold ? after : beyond };
  }
  const moved = movedBy(device, before, after, devices);
  const concerned = drainsConcerned(before, after, moved);
  // Whether a device is in use, and what it is, concerns all drains that it may be on.
  const isOfAll = concerned.length === 0 && act.mayReach !== undefined;
  if (isOfAll || concerned.some(isBeyond)) return { refused: beyond };
  const ofAnother = firstOfAnother(act, moved, devices);
  // It names whom the sender meant, who is never the patient of a client that is confined.
  if (ofAnother !== undefined) return { refused: act.mayReach === undefined ? ofAnother : beyond };
  return {
    type: body.kind,
    actor: body.author,
    effectiveAt: body.effective_at,
    supersedes: 'target' in body ? identifierText(body.target) : null,
    body: writeBody(body),
    receipt: writeActReceipt(act, moved, place),
    issues: issuesOfDevice(device, before, after, { place, devices, write: tools.writeRegistered }),
    relinked: null,
    linked: null,
    devices: { about: { device, drain: stayIn(body)?.drain ?? null } },
    follows: reroutes(body, moved, tools),
    enter() {},
  };
}

/** Null when nothing stands in the way that can be told without the device. */
function notTakenAct(place: Place, act: IncomingAct, devices: DeviceLook, tools: Tools): NotTaken | null {
  const { body } = act;
  const drain = stayIn(body)?.drain;
  return (
    erasedBefore(nameOf(body.identifier), body.identifier, devices, act.mayReach !== undefined) ??
    laterThanNow(place, timesIn(body), tools.policy.settings) ??
    notOnADrain(body, devices) ??
    ofOtherPatient(drain, act, devices)
  );
}

/** A sender that means another patient has the wrong drain. */
function ofOtherPatient(
  drain: string | undefined,
  { patient, quotesNothing }: IncomingAct,
  devices: DeviceLook,
): NotTaken | null {
  if (drain === undefined || patient === undefined) return null;
  const linked = devices.patientOf(drain);
  return falseClaim(
    { ...(linked === null ? {} : { patient: linked }), site: null },
    { patient, site: null },
    quotesNothing,
  );
}

const noSuchDevice = (device: string): NotTaken => ({
  refused: 'no-such-device',
  pointer: '/device',
  value: device,
  mend: 'register the device first: POST /v1/devices',
});

/** Null for what says nothing of where the device is. */
function stayIn(body: DeviceBody): (Partial<Placement> & Period) | null {
  if (body.kind === 'assigned' || body.kind === 'retired') return body;
  return body.kind === 'corrected' && 'from' in body.replacement ? body.replacement : null;
}

/** What a device charted of one patient must not get into the record of another by a slip in an assignment. */
function firstOfAnother(
  { body, quotesNothing }: IncomingAct,
  moved: readonly MovedChain[],
  devices: DeviceLook,
): NotTaken | undefined {
  const pointer =
    body.kind === 'assigned' ? '/drain' : body.kind === 'corrected' ? '/replacement/drain' : '/target';
  const refusals = moved.map(({ chain, to }) =>
    to === null ? null : notOfItsPatient(chain, to, devices, { pointer, quotesNothing }),
  );
  return refusals.find((each) => each !== null);
}

/** A whereabouts of the future is nobody's to know, whoever says so. */
function timesIn(body: DeviceBody): readonly (readonly [string, string])[] {
  const within = body.kind === 'corrected' ? '/replacement' : '';
  const { from, to } = stayIn(body) ?? (body.kind === 'closed' ? { from: undefined, to: body.to } : {});
  const times = [
    ['/effective_at', body.effective_at],
    [`${within}/from`, from],
    [`${within}/to`, to],
  ] as const;
  return times.flatMap(([pointer, text]) => (text === undefined ? [] : [[pointer, text] as const]));
}

function notOnADrain(body: DeviceBody, devices: DeviceLook): NotTaken | null {
  const drain = stayIn(body)?.drain;
  if (drain === undefined || devices.isDrain(drain)) return null;
  const pointer = body.kind === 'corrected' ? '/replacement/drain' : '/drain';
  const refused = noSuchDrain(pointer, drain, devices);
  if (refused.refused === 'erased') return refused;
  return { ...refused, mend: 'place the drain first, and send the id that POST /v1/drains answered' };
}

/** What the device charted that counts for another drain after the entry than before, in order of time. */
function movedBy(
  device: string,
  before: DeviceBook,
  after: DeviceBook,
  devices: DeviceLook,
): readonly MovedChain[] {
  const time = timeChanged(before, after);
  if (time === null) return [];
  // By a clock that is behind, what was read in that time may be charted before it.
  const from = epochMs(time.from - MOST_BEHIND_MS);
  return devices.chainsBetween(device, from, time.to).flatMap(({ chain, members, drain }) => {
    const read = readTimeOfChain(chain);
    if (read === null) throw new Error(`chain ${chain.first.id} is void: it is on no drain`);
    const to = drainAt(after, read);
    return to === drain ? [] : { chain, members, from: drain, to };
  });
}

function drainsConcerned(
  before: DeviceBook,
  after: DeviceBook,
  moved: readonly MovedChain[],
): readonly string[] {
  return [
    ...staysChanged(before, after).map(({ drain }) => drain),
    ...moved.flatMap(({ from, to }) => [from, to]),
  ].filter((drain) => drain !== null);
}

function writeActReceipt({ device, body }: IncomingAct, moved: readonly MovedChain[], place: Place): string {
  const count = (side: 'from' | 'to', drain: string) => moved.filter((each) => each[side] === drain).length;
  const drains = [...new Set(moved.flatMap(({ from, to }) => [from ?? [], to ?? []].flat()))].sort();
  return JSON.stringify({
    device,
    sequence: place.seq,
    entry: nameOf(body.identifier),
    identifier: body.identifier,
    kind: body.kind,
    recorded_at: place.recordedAt,
    moved: drains.map((drain) => ({ drain, entered: count('to', drain), left: count('from', drain) })),
  });
}
