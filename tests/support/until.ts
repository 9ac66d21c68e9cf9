/** Waits until it is so. @throws after 10 s, with what is the case instead */
export async function until<T>(
  ask: () => Promise<T | undefined | false> | T | undefined | false,
  instead: () => Promise<unknown> = async () => 'nothing more is known',
): Promise<T> {
  for (const end = Date.now() + 10_000; Date.now() < end; ) {
    const found = await ask();
    if (found !== undefined && found !== false) return found;
    await new Promise((resolve) => setTimeout(resolve, 20));
  }
  throw new Error(`it did not come to be within 10 s: ${JSON.stringify(await instead())}`);
}
