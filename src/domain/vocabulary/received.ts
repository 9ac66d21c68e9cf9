/** How an entry came, where that is not the native form in its own units. */

/** A quantity that came in another unit and was converted: what was sent, and where (JSON pointer). */
export interface AsSent {
  readonly field: string;
  readonly value: string;
  readonly unit: string;
}

/** How an entry came that was not sent in the native form: the whole resource, white space aside. */
export interface Received {
  /** Name of the fact as which the sender finds it again. */
  readonly as: string;
  readonly resource: string;
}
