/** What one entry issued, as one FHIR transaction: put together from the issued texts, so that their digits stay. */

const OPENING = /^\{"resourceType":"([A-Za-z]+)","id":"([A-Za-z0-9\-.]{1,64})"/;

export function transactionOf(texts: readonly string[]): string {
  return `{"resourceType":"Bundle","type":"transaction","entry":[${texts.map(putEntry).join(',')}]}`;
}

/** PUT with our own id is idempotent by HTTP: a resend after a lost answer changes nothing. */
function putEntry(text: string): string {
  const [, type, id] = OPENING.exec(text) ?? [];
  if (type === undefined || id === undefined)
    throw new Error('an issued text does not start with its type and id');
  return `{"resource":${text},"request":{"method":"PUT","url":"${type}/${id}"}}`;
}
