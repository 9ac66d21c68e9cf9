/** HL7 v2 messages in over HTTP, and what was kept of those that nothing could be made of. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { writeRequest } from '../../audit/entry-text.ts';
import { CHART } from '../../auth/scope.ts';
import type { Author } from '../../domain/vocabulary/entry.ts';
import { type Hl7v2, MOST_MESSAGE_BYTES } from '../../hl7v2/take.ts';
import { shown } from '../../intake/fault.ts';
import { bytesOfKept } from '../../intake/hl7v2/kept-message.ts';
import { order, readOrder } from '../../intake/native/orders.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { drainNameOf } from '../../record/record.ts';
import type { StoredUnmapped } from '../../store/unmapped-port.ts';
import { acceptBytes } from '../body.ts';
import { senderOf } from '../caller.ts';
import type { Parts } from '../parts.ts';
import { faulty, type Problem, problem, problemOfFaults } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendJson, sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { dismissed, unmappedPage } from './hl7v2-answers.ts';
import { afterNumber, pageOf } from './pages.ts';

const ER7 = 'application/hl7-v2';
/** The same by the name that others give it. */
const ALSO_ER7 = 'x-application/hl7-v2+er7';
const PAGE = 20;

const acknowledgement = z.string().describe('ACK^R01, empty where the message wants none.');
const answered = (text: string) => ({ text, schema: acknowledgement, mediaType: ER7 });
const orProblem = (status: number, text: string) => {
  const { [status]: refused } = problems({ [status]: text });
  return { ...answered(text), also: { 'application/problem+json': refused?.schema ?? z.unknown() } };
};

const ANSWERS = {
  200: answered('AA: all that it says is on disk. The same message again is answered so again.'),
  400: orProblem(400, 'AR: it is of no type, version or character set that is taken here.'),
  403: orProblem(403, 'AR: the client may not write this.'),
  410: orProblem(410, 'AR: it is of what was lawfully erased, and nothing of it is kept.'),
  422: answered('AE: nothing was charted; the message is kept whole, and ERR says why.'),
  503: orProblem(503, 'AR: nothing can be written now; send it again later.'),
  ...problems({ 404: 'No mapping is configured.', 413: 'The message is too large.', 415: 'It is no ER7.' }),
};

const DOCS = {
  take: {
    operation: 'takeHl7v2',
    access: CHART,
    seesToBounds: true,
    summary: 'Enter an HL7 v2 message: ORU^R01 in the shape of IHE PCD-01',
    about:
      'Read by the mapping of the facility; what it says is taken whole or not at all. MSH-18 names the character set.',
    body: z.string().meta({ description: 'One message, segments ended by carriage returns; at most 1 MiB.' }),
    bodyTypes: [ER7, ALSO_ER7],
    answers: ANSWERS,
  },
  list: {
    operation: 'unmappedHl7v2',
    access: 'operate',
    summary: 'Messages that nothing could be made of, and that wait for somebody to see to them',
    query: { after: afterNumber },
    answers: { 200: json('The oldest first.', unmappedPage), ...problems({}) },
  },
  retry: {
    operation: 'retryHl7v2',
    access: CHART,
    summary: 'Take a message that waits once more, now that the mapping or the drain is mended',
    answers: { ...ANSWERS, ...problems({ 404: 'No such message waits.' }) },
  },
  dismiss: {
    operation: 'dismissHl7v2',
    access: 'operate',
    summary: 'Say that a message that waits is of no use',
    about: 'It stays in the ledger, with who said so and why.',
    body: order,
    answers: {
      200: json('It waits no more.', dismissed),
      ...problems({ 404: 'No such message waits.', 422: 'The message shows by itself that it is wrong.' }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

type OfPrincipal = Pick<FastifyRequest, 'principal' | 'shown' | 'isRecorded'>;

interface OfMessage {
  Params: { readonly sequence: string };
}

export function registerHl7v2(app: FastifyInstance, parts: Parts): void {
  const { hl7v2 } = parts;
  app.register(async (messages) => {
    messages.removeAllContentTypeParsers();
    acceptBytes(messages, [ER7, ALSO_ER7]);
    const limit = { bodyLimit: MOST_MESSAGE_BYTES, config: { doc: DOCS.take } };
    messages.post('/hl7v2', limit, async (request, reply) =>
      hl7v2 === null
        ? sendProblem(reply, NOT_CONFIGURED)
        : take(hl7v2, request, reply, request.body as Buffer),
    );
  });

  app.post<OfMessage>(
    '/hl7v2/unmapped/:sequence/retry',
    { config: { doc: DOCS.retry } },
    async (request, reply) => {
      const { params } = request;
      const waiting = waitingAt(params.sequence, parts);
      if (waiting === null) return sendProblem(reply, noSuchMessage(params.sequence));
      if (hl7v2 === null) return sendProblem(reply, NOT_CONFIGURED);
      return take(hl7v2, request, reply, bytesOfKept(waiting.body));
    },
  );
  registerUnmapped(app, parts);
}

function registerUnmapped(app: FastifyInstance, parts: Parts): void {
  const { store } = parts;
  app.get<{ Querystring: { after?: string } }>(
    '/hl7v2/unmapped',
    { config: { doc: DOCS.list } },
    (request, reply) => {
      const found = store.unmapped(Number(request.query.after ?? '0'), PAGE + 1);
      const { page, next_after } = pageOf(found, PAGE, ({ seq }) => seq);
      noteNamed(request, page, parts);
      const unmapped = page.map(unmappedText).join(',');
      return sendJson(reply, `{"unmapped":[${unmapped}],"next_after":${next_after}}`);
    },
  );

  app.post<OfMessage>(
    '/hl7v2/unmapped/:sequence/dismiss',
    { config: { doc: DOCS.dismiss } },
    async ({ params, body }, reply) => {
      const read = readOrder(order, body as ExactValue);
      if ('faults' in read) return sendProblem(reply, faulty(read.faults));
      const waiting = waitingAt(params.sequence, parts);
      if (waiting === null) return sendProblem(reply, noSuchMessage(params.sequence));
      const { author, reason } = read.order;
      const told = writeRequest({ message_sha256: waiting.hash, reason });
      await store.settleUnmapped(waiting.hash, { type: 'dismissed', actor: author as Author, body: told });
      return sendPlain(reply, { dismissed: waiting.seq });
    },
  );
}

/** HTTP has room for one acknowledgement: of two that are wanted the application's, which says more. */
async function take(
  hl7v2: Hl7v2,
  request: OfPrincipal,
  reply: FastifyReply,
  bytes: Buffer,
): Promise<FastifyReply> {
  const { principal } = request;
  const taken = await hl7v2.take({ bytes, principal, sender: senderOf(principal), over: 'http' });
  const { code, mayPass, isForbidden, isErased, acknowledgements } = taken;
  request.shown = taken.drains;
  request.isRecorded = taken.isRecorded;
  const status = { AA: 200, AE: 422, AR: mayPass ? 503 : isForbidden ? 403 : isErased ? 410 : 400 }[code];
  return reply
    .code(status)
    .type(ER7)
    .send(acknowledgements.at(-1) ?? Buffer.alloc(0));
}

/** Messages that nothing could be made of still say whom they are of, as far as the mapping tells. */
function noteNamed(
  request: Pick<FastifyRequest, 'shown' | 'named'>,
  page: readonly StoredUnmapped[],
  { hl7v2, store }: Parts,
): void {
  const named = page.flatMap((each) => hl7v2?.namedIn(bytesOfKept(each.body)) ?? []);
  request.shown = named
    .flatMap(({ drains }) => drains.map(drainNameOf))
    .filter((drain) => store.entries(drain, 0, 1).length > 0);
  request.named = named.flatMap(({ patients }) => patients);
}

function waitingAt(sequence: string, { store }: Parts): StoredUnmapped | null {
  if (!/^[1-9]\d{0,14}$/.test(sequence)) return null;
  const [next] = store.unmapped(Number(sequence) - 1, 1);
  return next?.seq === Number(sequence) ? next : null;
}

/** The stored text goes out as it is. */
const unmappedText = ({ seq, recordedAt, body }: StoredUnmapped): string =>
  `{"sequence":${seq},"recorded_at":"${recordedAt}","kept":${body}}`;

const noSuchMessage = (sequence: string): Problem =>
  problemOfFaults(404, 'no-such-message', 'No such message waits', [
    {
      pointer: '/sequence',
      value: shown(sequence),
      detail: 'names no message that waits',
      mend: 'take one of GET /v1/hl7v2/unmapped',
    },
  ]);

const NOT_CONFIGURED = problem(
  404,
  'no-hl7v2',
  'HL7 v2 is not taken here',
  'Name the file of its mapping in DRAINLEDGER_HL7V2, and start the service again.',
);
