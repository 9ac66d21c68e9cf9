/**
 * A charted number with the digits it was charted with: `2` and `2.0` are the same amount, not the same record.
 * At most three decimals, so that `thousandths` is exact.
 */
export class Decimal {
  readonly text: string;
  readonly thousandths: number;
  private constructor(text: string, thousandths: number) {
    this.text = text;
    this.thousandths = thousandths;
  }

  /** As a plain number, where its digits do not matter. */
  toJSON(): number {
    return this.thousandths / 1000;
  }

  /** The decimal for these digits, or undefined when they have an exponent, over 3 decimals or over 9 whole digits. */
  static parse(text: string): Decimal | undefined {
    const parts = PLAIN.exec(text);
    if (parts === null) return undefined;
    const [, sign = '', whole = '', fraction = ''] = parts;
    const magnitude = Number(whole) * 1000 + Number(fraction.padEnd(3, '0'));
    return new Decimal(text, sign === '-' && magnitude !== 0 ? -magnitude : magnitude);
  }

  /** As {@link parse}, for digits known to be good. @throws {RangeError} if they are not */
  static of(text: string): Decimal {
    const decimal = Decimal.parse(text);
    if (decimal === undefined)
      throw new RangeError(`'${text}' is not a plain number with at most 3 decimals`);
    return decimal;
  }
}

const PLAIN = /^(-?)([0-9]{1,9})(?:\.([0-9]{1,3}))?$/;
