/** Times as the ward reads them: on the wall clock of the facility's zone, kept as moments with their offset. */

export const MINUTE_MS = 60_000;
export const HOUR_MS = 60 * MINUTE_MS;
export const DAY_MS = 24 * HOUR_MS;

const formats = new Map<string, Intl.DateTimeFormat>();

function formatOf(zone: string): Intl.DateTimeFormat {
  const known = formats.get(zone);
  if (known !== undefined) return known;
  const made = new Intl.DateTimeFormat('en-GB', {
    timeZone: zone,
    hourCycle: 'h23',
    ...({ year: 'numeric', month: '2-digit', day: '2-digit' } as const),
    ...({ hour: '2-digit', minute: '2-digit', second: '2-digit' } as const),
  });
  formats.set(zone, made);
  return made;
}

/** The wall clock at a moment, as if it were UTC, ms. */
function wallMs(at: number, zone: string): number {
  const part: Record<string, number> = {};
  for (const { type, value } of formatOf(zone).formatToParts(at)) part[type] = Number(value);
  const { year = 0, month = 1, day = 1, hour = 0, minute = 0, second = 0 } = part;
  return Date.UTC(year, month - 1, day, hour, minute, second);
}

const offsetMs = (at: number, zone: string): number => wallMs(at, zone) - Math.floor(at / 1000) * 1000;

/** '2026-03-01T08:05', for a field of date and time. */
export const wallText = (at: number, zone: string): string =>
  new Date(wallMs(at, zone)).toISOString().slice(0, 16);

/**
 * The moments at which the clock shows a time: none where it skips that hour, two where it repeats it.
 * @param text as of {@link wallText}
 */
export function momentsOf(text: string, zone: string): readonly number[] {
  const wall = Date.parse(`${text}:00Z`);
  if (Number.isNaN(wall)) return [];
  const offsets = new Set([wall - DAY_MS, wall + DAY_MS].map((near) => offsetMs(near, zone)));
  return [...offsets]
    .map((offset) => wall - offset)
    .filter((at) => wallMs(at, zone) === wall)
    .sort((a, b) => a - b);
}

/** RFC 3339 with the zone's offset at that moment, to the second. */
export function momentText(at: number, zone: string): string {
  const offset = Math.round(offsetMs(at, zone) / MINUTE_MS);
  const two = (value: number) => String(Math.floor(value)).padStart(2, '0');
  const size = Math.abs(offset);
  const sign = offset < 0 ? '-' : '+';
  return `${new Date(wallMs(at, zone)).toISOString().slice(0, 19)}${sign}${two(size / 60)}:${two(size % 60)}`;
}

const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

/** '08:05' today, '24 Nov 08:05' on another day. */
export function clockText(moment: string | number, zone: string, now: number): string {
  const text = wallText(typeof moment === 'number' ? moment : Date.parse(moment), zone);
  const clock = text.slice(11);
  if (text.slice(0, 10) === wallText(now, zone).slice(0, 10)) return clock;
  return `${dayText(text)} ${clock}`;
}

/** '24 Nov' of '2026-11-24…'. */
const dayText = (text: string): string =>
  `${Number(text.slice(8, 10))} ${MONTHS[Number(text.slice(5, 7)) - 1]}`;

/** '5 min', '2 h 10 min', '3 d 4 h'. */
export function ageText(seconds: number): string {
  const minutes = Math.max(0, Math.floor(seconds / 60));
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return minutes % 60 === 0 ? `${hours} h` : `${hours} h ${minutes % 60} min`;
  return `${Math.floor(hours / 24)} d ${hours % 24} h`;
}
