/** An invented drain that has been charted over the API, up to a moment ago. */
import { entry, level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { minutesAgo, type Ward } from './browser.ts';

/** Placed 3 h ago; 120 mL 2 h ago, 160 mL 1 h ago. @param earlier all of it so many minutes before that */
export async function chartedDrain({ service }: Ward, name: string, earlier = 0): Promise<TestDrain> {
  const ago = (minutes: number): string => minutesAgo(minutes + earlier).moment;
  const drain = await placeDrain(service, name, ago(180), { patient: { reference: `Patient/${name}` } });
  const charted = {
    suction: { source: 'on', column_cmh2o: 15, bubbling: 'gentle' },
    seal: { level_cmh2o: 4 },
    tidaling: 'present',
    air_leak: { grade: 1, phase: 'expiratory' },
  };
  await tell(
    drain,
    setUp(`${name}-up`, ago(180), 0),
    level(`${name}-1`, ago(120), 120, charted),
    entry(`${name}-flush`, 'instilled', ago(90), { volume_ml: 20, purpose: 'flush' }),
    level(`${name}-2`, ago(60), 160, charted),
  );
  return drain;
}

/** What a test asks of a drain's ledger. */
export async function entriesOf(
  { service }: Ward,
  { drain }: Pick<TestDrain, 'drain'>,
): Promise<readonly { readonly body: Readonly<Record<string, unknown>> }[]> {
  return JSON.parse((await service.send('GET', `/v1/drains/${drain}/entries`)).text).entries;
}
