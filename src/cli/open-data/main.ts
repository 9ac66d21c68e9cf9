/** `npm run check:open-data -- FILE` */
import { checkOpenData } from './check.ts';

const [file, ...rest] = process.argv.slice(2);
if (file === undefined || rest.length > 0) {
  process.stderr.write('Usage: npm run check:open-data -- FILE\n');
  process.exit(64);
}
checkOpenData(file, (line) => process.stdout.write(`${line}\n`)).then(
  (code) => process.exit(code),
  (error: unknown) => {
    process.stderr.write(`The check failed: ${error instanceof Error ? error.message : String(error)}\n`);
    process.exit(1);
  },
);
