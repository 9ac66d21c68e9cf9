/** `deliveries list|events|requeue|skip|replay`: what is under way to the record, and what staff have done about it. */
import { parseArgs } from 'node:util';
import { Refused, type Service, serviceAt } from './api.ts';
import { print } from './output.ts';

interface Listed {
  readonly delivery: string;
  readonly state: string;
  readonly attempts: number;
  readonly since: string | null;
  readonly next_attempt: string | null;
  readonly outcome: { readonly why: string } | null;
}
interface Event {
  readonly event: number;
  readonly at: string;
  readonly target: string;
  readonly drain: string | null;
  readonly log_index: number | null;
  readonly kind: string;
  readonly reason: string | null;
  readonly outcome: { readonly why: string } | null;
}
type Page<K extends string, T> = { readonly [key in K]: readonly T[] } & {
  readonly next_after: string | number | null;
};

const OPTIONS = {
  url: { type: 'string' },
  'token-file': { type: 'string' },
  target: { type: 'string' },
  drain: { type: 'string' },
  state: { type: 'string' },
  from: { type: 'string' },
  to: { type: 'string' },
  by: { type: 'string' },
  reason: { type: 'string' },
} as const;
type Options = { readonly [key in keyof typeof OPTIONS]?: string };

/** @returns the exit code: 0, 1 where the service refuses it, or null where there is no such command */
export async function runDeliveries(args: readonly string[]): Promise<number | null> {
  const { values, positionals } = parseArgs({ args: [...args], options: OPTIONS, allowPositionals: true });
  const [verb, name, ...more] = positionals;
  const run = verb === undefined || more.length > 0 ? undefined : VERBS[verb];
  if (run === undefined) return null;
  try {
    await run(serviceAt(values), name, values);
    return 0;
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    process.stderr.write(`${error.message}\n`);
    return 1;
  }
}

type Verb = (service: Service, name: string | undefined, options: Options) => Promise<void>;

const VERBS: Readonly<Record<string, Verb>> = {
  async list(service, _name, options) {
    await eachPage<'deliveries', Listed>(service, 'deliveries', '/deliveries', options, (each) => {
      const when = each.next_attempt === null ? each.since : `next ${each.next_attempt}`;
      printParts(each.delivery, each.state, `${each.attempts} attempts`, when, each.outcome?.why);
    });
  },
  async events(service, _name, options) {
    await eachPage<'events', Event>(service, 'events', '/deliveries/events', options, (each) => {
      const place = each.drain === null ? '' : `.${each.drain}.${each.log_index}`;
      printParts(each.at, `${each.target}${place}`, each.kind, each.reason, each.outcome?.why);
    });
  },
  async requeue(service, name, options) {
    if (name !== undefined) refuseNarrower(name, options);
    const path =
      name === undefined ? `/targets/${needed(options, 'target')}/requeue` : `/deliveries/${name}/requeue`;
    const only = options.drain === undefined ? {} : { drain: options.drain };
    const { deliveries } = await service<{ deliveries: number }>(path, { ...byWhom(options), ...only });
    print(`${deliveries} will be sent again, as their facts stand then`);
  },
  async skip(service, name, options) {
    if (name === undefined) throw new Refused('name the delivery, as deliveries list shows it');
    await service(`/deliveries/${name}/skip`, byWhom(options));
    print(`${name} will not be sent`);
  },
  async replay(service, _name, options) {
    const { drains } = await service<{ drains: number }>(`/targets/${needed(options, 'target')}/replay`, {
      ...byWhom(options),
      from: needed(options, 'from'),
      to: needed(options, 'to'),
      ...(options.drain === undefined ? {} : { drain: options.drain }),
    });
    print(`${drains} drains have something recorded in this time; it will be sent as it now stands`);
  },
};

/** A name beside a target or drain that may be another: which of them is meant is not guessed. */
function refuseNarrower(name: string, options: Options): void {
  for (const key of ['target', 'drain'] as const)
    if (options[key] !== undefined)
      throw new Refused(
        `name a delivery, or give --target, not both: ${name} says its target and drain itself, so leave --${key} out`,
      );
}

async function eachPage<K extends string, T>(
  service: Service,
  key: K,
  path: string,
  { target, drain, state }: Options,
  show: (each: T) => void,
): Promise<void> {
  const query = new URLSearchParams();
  for (const [name, value] of Object.entries({ target, drain, state }))
    if (value !== undefined) query.set(name, value);
  for (;;) {
    const page = await service<Page<K, T>>(`${path}?${query}`);
    for (const each of page[key]) show(each);
    if (page.next_after === null) return;
    query.set('after', String(page.next_after));
  }
}

export function byWhom(options: Options): object {
  const by = needed(options, 'by');
  if (!/^[A-Za-z]+\/[A-Za-z0-9\-.]+$/.test(by))
    throw new Refused('--by names who orders it, such as Practitioner/n1');
  return { author: { type: 'person', reference: by }, reason: needed(options, 'reason') };
}

function needed(options: Options, name: keyof Options): string {
  const value = options[name];
  if (value === undefined) throw new Refused(`--${name} is missing`);
  return value;
}

const printParts = (...parts: readonly (string | null | undefined)[]): void =>
  print(parts.filter((each) => each !== null && each !== undefined).join('  '));
