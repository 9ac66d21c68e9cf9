/**
 * Lets the page open while the service is away, so that what waits to be sent, and what was being typed, can be seen
 * and sent on. It keeps the files of the page and nothing that was charted.
 */
interface Lifetime extends Event {
  waitUntil(work: Promise<unknown>): void;
}
interface Asked extends Event {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}

const KEPT = 'page';

const isOfPage = ({ method, url }: Request): boolean => {
  const { pathname, origin } = new URL(url);
  return (
    method === 'GET' && origin === location.origin && (pathname === '/' || pathname.startsWith('/page/'))
  );
};

/** From the service while it is there, so that no old script meets a new service. */
async function fresh(request: Request): Promise<Response> {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    if (answer.ok) await kept.put(request, answer.clone());
    return answer;
  } catch (error) {
    const before = await kept.match(request);
    if (before === undefined) throw error;
    return before;
  }
}

addEventListener('activate', (event) => {
  const { clients } = globalThis as unknown as { readonly clients: { claim(): Promise<void> } };
  (event as Lifetime).waitUntil(clients.claim());
});

addEventListener('fetch', (event) => {
  const { request } = event as Asked;
  if (isOfPage(request)) (event as Asked).respondWith(fresh(request));
});
