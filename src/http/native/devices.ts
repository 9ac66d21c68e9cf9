/** Devices, and what names them: registered, assigned to drains, and charting for whichever drain they are on. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { writeRequest } from '../../audit/entry-text.ts';
import { ASSIGN, CHART, REGISTER } from '../../auth/scope.ts';
import type { DeviceBody } from '../../domain/devices/device.ts';
import { assignmentBody, deviceEntryBody, registration } from '../../intake/native/device-schemas.ts';
import { readAssignment, readDeviceEntry, readRegistration } from '../../intake/native/read-device.ts';
import { readEntry } from '../../intake/native/read-entry.ts';
import { entryBody } from '../../intake/native/schemas.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { deviceNameOf } from '../../record/device-acts.ts';
import { confinedAct } from '../allowed.ts';
import { senderOf } from '../caller.ts';
import { answerOf } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { faulty } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { actReceipt, dryRun, problems, receipt, unmatchedReceipt } from './answers.ts';
import { DRY_RUN, sendAnswer } from './entries.ts';
import { foreseen, recorded } from './recorded.ts';

const NOT_TAKEN = {
  400: 'The body is no acceptable JSON.',
  415: 'The body is not JSON in UTF-8, or is compressed.',
  422: 'The message shows by itself that it is wrong, or does not fit what it changes.',
  503: 'The store cannot write now.',
};
const ONE_ACT = {
  200: json('The same message was recorded before: the answer it got then.', actReceipt),
  201: json('Recorded, with all that it moves: on disk before this answer left.', actReceipt),
};

const EITHER = z.union([receipt, unmatchedReceipt]);

const DOCS = {
  register: {
    operation: 'registerDevice',
    access: REGISTER,
    summary: 'Register a collection unit or monitor',
    about: 'Its id is made from what it is known by.',
    body: registration,
    answers: {
      ...ONE_ACT,
      ...problems({
        ...NOT_TAKEN,
        409: 'The identifier names another message, or the device is registered already.',
      }),
    },
  },
  assign: {
    operation: 'assignDevice',
    access: ASSIGN,
    seesToBounds: true,
    summary: 'Say on which drain a device was, and when',
    about:
      'From included, to excluded. Assigns it, or closes, corrects or withdraws an assignment. What the device charted goes where it belongs in the same write, and what is derived of all drains concerned is issued again.',
    body: assignmentBody,
    answers: {
      ...ONE_ACT,
      ...problems({
        ...NOT_TAKEN,
        404: 'There is no such device or drain.',
        409: 'The identifier names another message; the device is on another drain in that time, which is named; or the assignment is closed, void or not in its newest form.',
      }),
    },
  },
  chart: {
    operation: 'enterOfDevice',
    access: ASSIGN,
    seesToBounds: true,
    summary: 'Chart something of a device that is registered',
    about:
      'Assigns it, retires it, or closes, corrects or withdraws an assignment, a retirement or its registration, each with its reason; nothing is overwritten. What a retired device sends is kept as unmatched.',
    body: deviceEntryBody,
    answers: {
      ...ONE_ACT,
      ...problems({
        ...NOT_TAKEN,
        404: 'There is no such device or drain.',
        409: 'The identifier names another message; the device is on a drain or out of use in that time, and what says so is named; or what it changes is closed, void or not in its newest form.',
      }),
    },
  },
  enter: {
    operation: 'enterByDevice',
    access: CHART,
    seesToBounds: true,
    summary: 'Enter one fact that was read on a device',
    about:
      'It counts for the drain that the device was on at its time, or when it was received if that came first. Where the device was on none, or had left that drain more than a minute and at most 90 after its time and before it was received, so that a clock that is behind would tell the wrong one, it is kept and answered with 202. It counts once an assignment covers it, or a person corrects it.',
    body: entryBody,
    query: DRY_RUN,
    answers: {
      200: json(
        'The same message was recorded before: the answer it got then. Or the answer of a dry run.',
        z.union([EITHER, dryRun]),
      ),
      201: json('Recorded: on disk before this answer left.', EITHER),
      202: json('Kept, on disk before this answer left; it counts for no drain yet.', unmatchedReceipt),
      ...problems({
        ...NOT_TAKEN,
        403: 'The device was not on a drain that the client may reach.',
        409: 'The identifier names another message, or the entry to change is not the newest form or is void.',
      }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

interface DryRun {
  Querystring: { readonly 'dry-run'?: 'true' | 'false' };
}

interface OfDevice {
  Params: { device: string };
}

export function registerDevices(app: FastifyInstance, parts: Parts): void {
  app.post('/devices', { config: { doc: DOCS.register } }, async (request, reply) => {
    const read = readRegistration(request.body as ExactValue);
    if ('faults' in read) return sendProblem(reply, faulty(read.faults));
    return sendAct(parts, request, reply, deviceNameOf(read.body.device), read.body);
  });

  app.post<OfDevice>(
    '/devices/:device/assignments',
    { config: { doc: DOCS.assign } },
    async (request, reply) => {
      const read = readAssignment(request.body as ExactValue);
      if ('faults' in read) return sendProblem(reply, faulty(read.faults));
      return sendAct(parts, request, reply, request.params.device, read.body);
    },
  );

  app.post<OfDevice>('/devices/:device/entries', { config: { doc: DOCS.chart } }, async (request, reply) => {
    const read = readDeviceEntry(request.body as ExactValue);
    if ('faults' in read) return sendProblem(reply, faulty(read.faults));
    return sendAct(parts, request, reply, request.params.device, read.body);
  });

  app.post<DryRun>('/device-entries', { config: { doc: DOCS.enter } }, async (request, reply) => {
    const sent = request.body as ExactValue;
    const read = readEntry(sent, parts.profiles);
    if ('faults' in read) return sendProblem(reply, faulty(read.faults));
    if (read.body.device === undefined) return sendProblem(reply, faulty([NO_DEVICE]));
    const incoming = { drain: null, body: read.body, request: writeRequest(sent) };
    if (request.query['dry-run'] === 'true')
      return sendAnswer(request, reply, foreseen(parts, request.principal, incoming), '');
    return sendAnswer(request, reply, await recorded(parts, request.principal, [incoming]), '/v1/unmatched');
  });
}

const NO_DEVICE = {
  pointer: '/device',
  value: undefined,
  detail: 'is missing',
  mend: 'name the device, or post to /v1/drains/{drain}/entries',
};

async function sendAct(
  parts: Parts,
  request: FastifyRequest,
  reply: FastifyReply,
  device: string,
  body: DeviceBody,
): Promise<FastifyReply> {
  const { principal } = request;
  const { store } = parts;
  const act = { device, body, request: writeRequest(request.body as ExactValue) };
  const outcome = await parts.recordAct(confinedAct(principal, store, act), senderOf(principal));
  return sendAnswer(
    request,
    reply,
    answerOf(outcome, { to: principal, store, pointer: '' }),
    `/v1/devices/${device}`,
  );
}
