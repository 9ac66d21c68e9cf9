/** How the columns of a file of charted values are read: data, one file a source. */
import { z } from 'zod';
import { RAW_CODES } from '../../fhir/raw-codes.ts';

const column = z.string().min(1);
const system = z.string().min(1).max(200);
const names = Object.keys(RAW_CODES);

const mapping = z.strictObject({
  delimiter: z.string().length(1).default(','),
  /** Of the identifiers of entries. */
  system,
  /** Columns whose values together name an entry; rows that follow each other with the same are one entry. */
  key: z.array(column).min(1),
  drain: z.strictObject({ system, column }).optional(),
  /** In the place of the drain: each row counts for the drain that the device was on. Beside it, both must agree. */
  device: z.strictObject({ system, column }).optional(),
  author: z.strictObject({ type: z.enum(['person', 'device']), system, column }),
  /** Without zone the times have offsets. */
  time: z.strictObject({ column, zone: z.string().optional() }),
  item: column,
  value: column,
  unit: column,
  /** What an item is called in the file, and its code here. */
  items: z.record(
    z.string(),
    z.enum(names, { error: `is no code of what is read: one of ${names.join(', ')}` }),
  ),
  /** By code: how its values are called in the file. */
  values: z.partialRecord(z.enum(names), z.record(z.string(), z.string())).default({}),
  /** How units are spelled in the file, and their UCUM codes. */
  units: z.record(z.string(), z.string()).default({}),
});

export const csvMapping = mapping.refine(({ drain, device }) => drain !== undefined || device !== undefined, {
  error: 'names neither the column of the drain nor that of the device: give one of them',
});

export type CsvMapping = z.infer<typeof csvMapping>;

/** The columns that say of which drain, and by which device. */
export const named = ({ drain, device }: CsvMapping) => [drain, device].filter((each) => each !== undefined);

/** All columns that a file must have. */
export const columnsOf = (mapping: CsvMapping): readonly string[] => [
  ...new Set([
    ...mapping.key,
    ...named(mapping).map(({ column: name }) => name),
    mapping.author.column,
    mapping.time.column,
    mapping.item,
    mapping.value,
    mapping.unit,
  ]),
];
