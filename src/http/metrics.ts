/** Figures in the text format of Prometheus, and the public keys of our assertions. No patient data, by construction. */
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { canWrite } from './can-write.ts';
import { problems } from './native/answers.ts';
import type { Parts } from './parts.ts';
import { problem } from './problem.ts';
import { sendProblem } from './refuse.ts';
import { json, type RouteDoc } from './route-doc.ts';

const PROMETHEUS = 'text/plain; version=0.0.4; charset=utf-8';
const KEYS_MAX_AGE_S = 300;

const DOCS = {
  metrics: {
    operation: 'metrics',
    access: 'metrics',
    concernsNobody: true,
    summary:
      'Figures of the log, of delivery, of messages and of the process, in the text format of Prometheus',
    answers: {
      200: { text: 'A line a figure.', schema: z.string(), mediaType: 'text/plain' },
      ...problems({}),
    },
  },
  jwks: {
    operation: 'jwks',
    access: 'public',
    summary: 'Public keys by which targets know our assertions',
    about: 'SMART Backend Services. Empty where no target asks for them.',
    answers: {
      200: json(
        'A JSON Web Key Set (RFC 7517).',
        z.object({ keys: z.array(z.looseObject({ kid: z.string() })) }),
      ),
      ...problems({ 503: 'A key cannot be read.' }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerMetrics(app: FastifyInstance, parts: Parts): void {
  app.get('/metrics', { config: { doc: DOCS.metrics } }, (_request, reply) =>
    reply.type(PROMETHEUS).send(metricsText(parts)),
  );

  app.get('/.well-known/jwks.json', { config: { doc: DOCS.jwks } }, async (_request, reply) => {
    try {
      const keys = await parts.delivery.jwks();
      return reply.header('cache-control', `public, max-age=${KEYS_MAX_AGE_S}`).send(keys);
    } catch {
      const detail = 'A file of a target cannot be read: run `cli targets check`.';
      return sendProblem(reply, problem(503, 'no-keys', 'A key cannot be read', detail));
    }
  });
}

type Sample = readonly [labels: Readonly<Record<string, string>>, value: number];

function metricsText(parts: Parts): string {
  const all = [logMetrics, backlogMetrics, targetMetrics, messageMetrics, unmatchedMetrics, processMetrics];
  return all.flatMap((metricsOf) => metricsOf(parts)).join('');
}

function logMetrics({ store, proof, now }: Parts): string[] {
  const failingS = (sinceMs: number | null): number => (sinceMs === null ? 0 : (now() - sinceMs) / 1000);
  return [
    metric('log_entries_total', 'counter', 'Entries of the log, of all kinds.', [[{}, store.log.size()]]),
    metric('log_writable', 'gauge', 'Whether entries can be taken: 1, or 0 where the log is only read.', [
      [{}, canWrite(store) ? 1 : 0],
    ]),
    metric(
      'checkpoint_sink_failing_seconds',
      'gauge',
      'For how long a place has taken no checkpoint; 0 while it takes them.',
      proof.sinks().map(({ name, failingSinceMs }) => [{ sink: name }, failingS(failingSinceMs)]),
    ),
  ];
}

const ASIDE = ['dead', 'skipped', 'accepted'] as const;

/** Under the names that client libraries of Prometheus give them. */
const processMetrics = (): string[] => [
  family('process_resident_memory_bytes', 'gauge', 'Resident memory.', [[{}, process.memoryUsage.rss()]]),
  family('process_start_time_seconds', 'gauge', 'When the process began, since the epoch.', [
    [{}, STARTED_MS / 1000],
  ]),
];
const STARTED_MS = Math.round(performance.timeOrigin);

function backlogMetrics({ delivery, store, now }: Parts): string[] {
  const backlogs = delivery.status().map(({ target }) => ({ target, ...store.backlog(target) }));
  const counts = store.deliveryCounts();
  // Of targets that are no longer configured as well.
  const targets = new Set([...backlogs, ...counts].map(({ target }) => target));
  const ageS = (oldestMs: number | null): number =>
    oldestMs === null ? 0 : Math.max(0, now() - oldestMs) / 1000;
  return [
    metric(
      'delivery_depth',
      'gauge',
      'Deliveries that wait, counted up to 100000.',
      backlogs.map(({ target, depth }) => [{ target }, depth]),
    ),
    metric(
      'delivery_oldest_seconds',
      'gauge',
      'Age of the oldest delivery that waits, by when its entry was recorded.',
      backlogs.map(({ target, oldestMs }) => [{ target }, ageS(oldestMs)]),
    ),
    metric(
      'delivery_set_aside',
      'gauge',
      'Deliveries that a target does not plainly hold.',
      [...targets].flatMap((target) =>
        ASIDE.map((state): Sample => {
          const found = counts.find((each) => each.target === target && each.state === state);
          return [{ target, state }, found?.count ?? 0];
        }),
      ),
    ),
  ];
}

function messageMetrics({ store, hl7v2, mllpConnections }: Parts): string[] {
  const connections = mllpConnections();
  return [
    metric('hl7v2_unmapped', 'gauge', 'HL7 v2 messages that nothing could be made of, and that wait.', [
      [{}, store.unmappedCount()],
    ]),
    metric(
      'hl7v2_messages_total',
      'counter',
      'HL7 v2 messages by how they were acknowledged.',
      Object.entries(hl7v2?.counts() ?? {}).map(([code, count]): Sample => [{ code }, count]),
    ),
    metric(
      'mllp_connections',
      'gauge',
      'Connections that are open over MLLP; without a sample where nothing listens.',
      connections === null ? [] : [[{}, connections]],
    ),
  ];
}
const unmatchedMetrics = ({ store }: Parts): string[] => [
  metric('unmatched_entries', 'gauge', 'Entries that named a device and count for no drain.', [
    [{}, store.unmatchedCount()],
  ]),
];

const STATES = ['working', 'resting', 'parked'] as const;

function targetMetrics({ delivery }: Parts): string[] {
  const targets = delivery.status();
  return [
    metric(
      'delivery_requests_total',
      'counter',
      'Requests to a target by what came of them.',
      targets.flatMap(({ target, requests }) =>
        Object.entries(requests).map(([kind, count]): Sample => [{ target, class: kind }, count]),
      ),
    ),
    metric(
      'delivery_breaker',
      'gauge',
      'Which state the way to a target is in: 1 for that one.',
      targets.flatMap(({ target, state }) =>
        STATES.map((each): Sample => [{ target, state: each }, each === state ? 1 : 0]),
      ),
    ),
  ];
}

const metric = (...[name, ...rest]: Parameters<typeof family>): string =>
  family(`drainledger_${name}`, ...rest);

function family(full: string, type: 'gauge' | 'counter', help: string, samples: readonly Sample[]): string {
  const lines = samples.map(([labels, value]) => {
    const pairs = Object.entries(labels).map(([label, text]) => `${label}="${escaped(text)}"`);
    return `${full}${pairs.length === 0 ? '' : `{${pairs.join(',')}}`} ${value}`;
  });
  return `# HELP ${full} ${help}\n# TYPE ${full} ${type}\n${lines.map((line) => `${line}\n`).join('')}`;
}

/** As the text format writes the values of labels. */
const escaped = (text: string): string =>
  text.replaceAll('\\', '\\\\').replaceAll('"', '\\"').replaceAll('\n', '\\n');
