const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];

/** The local time as it was charted; the offset stands in the heading. */
export function timeText(at: string): string {
  return `${at.slice(8, 10)} ${MONTHS[Number(at.slice(5, 7)) - 1]} ${at.slice(11, 16)}`;
}
