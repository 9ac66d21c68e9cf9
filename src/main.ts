/** The service as a process: `npm start`. */
import { pino } from 'pino';
import { readConfig } from './config.ts';
import { ConfigError } from './configuration/ledger.ts';
import { keepHeapSmall } from './heap.ts';
import { startService } from './service.ts';

async function main(): Promise<void> {
  keepHeapSmall();
  const config = readConfig(process.env);
  // Synchronous: a line that was written is not lost when the process ends.
  const logger = pino({ level: config.logLevel }, pino.destination({ dest: 1, sync: true }));
  const service = await startService({
    config,
    logger,
    onFatal(error) {
      logger.fatal(
        { name: error.name, message: error.message },
        'the ledger cannot be trusted any more; stopping',
      );
      process.exit(70);
    },
  });
  if (config.access.isOpen)
    logger.warn('development mode: no access control, whoever reaches this machine may read and chart');
  logger.info({ url: service.url }, 'listening');
  let stopping = false;
  const stop = async (signal: string): Promise<void> => {
    if (stopping) return;
    stopping = true;
    logger.info({ signal }, 'stopping');
    await service.stop();
    logger.info('stopped');
    process.exit(0);
  };
  process.on('SIGTERM', (signal) => void stop(signal));
  process.on('SIGINT', (signal) => void stop(signal));
}

main().catch((error: unknown) => {
  const message = error instanceof Error ? error.message : String(error);
  process.stderr.write(
    error instanceof ConfigError
      ? `Configuration cannot be used:\n${message}\n`
      : `Cannot start: ${message}\n`,
  );
  process.exit(78);
});
