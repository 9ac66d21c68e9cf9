/** What is known of devices, and what they charted that counts for no drain. */
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { readBody } from '../../audit/entry-text.ts';
import { isBound } from '../../auth/principal.ts';
import { LIST, LIST_DEVICES, READ_DEVICE } from '../../auth/scope.ts';
import { assignmentsOf } from '../../domain/devices/device.ts';
import { epochMs } from '../../domain/numbers/units.ts';
import { deviceView, whyUnmatched } from '../../record/device-view.ts';
import { reachesDrain } from '../allowed.ts';
import type { Parts } from '../parts.ts';
import { noSuch, type Problem } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendJson, sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { device, deviceEntriesPage, devicesPage, unmatchedPage } from './device-answers.ts';
import { afterName, afterNumber, pageOf } from './pages.ts';
import { entryText } from './reads.ts';

const PAGE = { devices: 50, entries: 500 } as const;
const NO_DEVICE = problems({ 404: 'There is no such device.' });

const DOCS = {
  list: {
    operation: 'devices',
    access: LIST_DEVICES,
    seesToBounds: true,
    summary: 'The registered devices, by id',
    about: 'A client that is confined sees those that were ever on a drain of theirs.',
    query: { after: afterName },
    answers: { 200: json(`A page of at most ${PAGE.devices}.`, devicesPage), ...problems({}) },
  },
  one: {
    operation: 'device',
    access: READ_DEVICE,
    seesToBounds: true,
    summary: 'A device, and on which drain it was when',
    answers: { 200: json('The device.', device), ...NO_DEVICE },
  },
  entries: {
    operation: 'deviceEntries',
    access: READ_DEVICE,
    summary: 'The ledger of a device: its registration and assignments as they were written',
    query: { after: afterNumber },
    answers: { 200: json(`A page of ${PAGE.entries}.`, deviceEntriesPage), ...NO_DEVICE },
  },
  unmatched: {
    operation: 'unmatched',
    access: LIST,
    summary: 'What devices charted that counts for no drain, the oldest first',
    about:
      'Each counts once an assignment of its device covers its time; one that never was true is marked entered-in-error.',
    query: { after: afterNumber },
    answers: { 200: json(`A page of ${PAGE.entries}.`, unmatchedPage), ...problems({}) },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

interface OfDevice {
  Params: { device: string };
  Querystring: { readonly after?: string };
}

export function registerDeviceReads(app: FastifyInstance, parts: Parts): void {
  const { store } = parts;
  const viewOf = (request: FastifyRequest, name: string) => {
    const book = store.device(name);
    if (book === undefined) return null;
    const { principal } = request;
    const isSeen = (drain: string) => reachesDrain(principal, drain, store);
    const view = deviceView(name, book, epochMs(parts.now()), isSeen);
    return view !== null && isBound(principal) && view.assignments.length === 0 ? null : view;
  };

  app.get<OfDevice>('/devices', { config: { doc: DOCS.list } }, (request, reply) => {
    const names = store.devices(request.query.after ?? '', PAGE.devices + 1);
    const { page, next_after } = pageOf(names, PAGE.devices, (name) => name);
    const devices = page.flatMap((name) => viewOf(request, name) ?? []);
    request.shown = devices.flatMap(drainsIn);
    return sendPlain(reply, { devices, next_after });
  });

  app.get<OfDevice>('/devices/:device', { config: { doc: DOCS.one } }, (request, reply) => {
    const view = viewOf(request, request.params.device);
    request.shown = view === null ? [] : drainsIn(view);
    return view === null ? sendProblem(reply, noSuchDevice(request.params.device)) : sendPlain(reply, view);
  });

  registerStreams(app, parts);
}

function registerStreams(app: FastifyInstance, { store }: Parts): void {
  app.get<OfDevice>('/devices/:device/entries', { config: { doc: DOCS.entries } }, (request, reply) => {
    const { device: name } = request.params;
    const book = store.device(name);
    if (book === undefined) return sendProblem(reply, noSuchDevice(name));
    request.shown = drainsIn({ assignments: assignmentsOf(book) });
    const found = store.deviceEntries(name, Number(request.query.after ?? '0'), PAGE.entries + 1);
    const { page, next_after } = pageOf(found, PAGE.entries, ({ seq }) => seq);
    const entries = page.map(entryText).join(',');
    return sendJson(reply, `{"device":"${name}","entries":[${entries}],"next_after":${next_after}}`);
  });

  app.get<OfDevice>('/unmatched', { config: { doc: DOCS.unmatched } }, (request, reply) => {
    const found = store.unmatched(Number(request.query.after ?? '-1'), PAGE.entries + 1);
    const { page, next_after } = pageOf(found, PAGE.entries, ({ logIndex }) => logIndex);
    // They are of no drain, but their senders may have said whom they are of.
    request.named = page.flatMap(({ body }) => readBody(body).received?.patient ?? []);
    const texts = page.map((entry) => {
      const why = whyUnmatched(store, entry.device, entry.entryId);
      const registered = why !== 'not-registered';
      return `{"device":"${entry.device}","registered":${registered},"because":"${why}",${entryText(entry).slice(1)}`;
    });
    const [unmatched, count] = [texts.join(','), store.unmatchedCount()];
    return sendJson(reply, `{"unmatched":[${unmatched}],"count":${count},"next_after":${next_after}}`);
  });
}

const drainsIn = ({ assignments }: { readonly assignments: readonly { readonly drain: string }[] }) =>
  assignments.map(({ drain }) => drain);

const noSuchDevice = (name: string): Problem =>
  noSuch('device', name, 'register the device first: POST /v1/devices');
