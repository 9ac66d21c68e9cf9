/** A local time of day as it is written, such as 07:00. */
import { z } from 'zod';

export const TIME_OF_DAY = '([01][0-9]|2[0-3]):[0-5][0-9]';
export const minutesOf = (text: string): number => Number(text.slice(0, 2)) * 60 + Number(text.slice(3));
/** Local time of day, as minutes since midnight. */
export const timeOfDay = z
  .string()
  .regex(new RegExp(`^${TIME_OF_DAY}$`), { error: 'is no local time of day, such as 07:00' })
  .transform(minutesOf);
