/** A running service with one drain of a patient, and what a FHIR client does with it. */
import { expect } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

const FHIR = { 'content-type': 'application/fhir+json' };

type Answer = ReturnType<TestService['send']>;

export interface Ward {
  readonly service: TestService;
  readonly drain: TestDrain;
  post(body: object, headers?: object, path?: string): Answer;
  put(resourceId: string, body: object, headers: object): Answer;
  /** Entries of the ledger; a new ward has two. */
  written(): Promise<readonly { readonly body: Readonly<Record<string, unknown>> }[]>;
}

export async function openWard(): Promise<Ward> {
  const service = await startTestService();
  const drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
  await tell(drain, setUp('up', '08:00', 0));
  return {
    service,
    drain,
    post: (body, headers = {}, path = '/fhir/Observation') =>
      service.send('POST', path, body, { ...FHIR, ...headers }),
    put: (resourceId, body, headers) =>
      service.send(
        'PUT',
        `/fhir/Observation/${resourceId}`,
        { id: resourceId, ...body },
        { ...FHIR, ...headers },
      ),
    written: async () => JSON.parse(await drain.ledger()).entries,
  };
}

/** The first issue of a valid OperationOutcome. */
export function issueOf(text: string): { code: string; diagnostics: string; expression?: string[] } {
  const outcome = JSON.parse(text);
  expect(problemsOf(outcome)).toEqual([]);
  return outcome.issue[0];
}
