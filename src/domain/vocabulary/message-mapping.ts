/** How a facility's HL7 v2 messages are read: what its codes, units and fields mean. Names of systems are those of identifiers. */

export interface MessageMapping {
  readonly version: string;
  /** Of the identifiers of entries, whose values are made of the sender's order numbers. */
  readonly system: string;
  /** The field that names the drain by the identifier of its placement, such as PV1-19. */
  readonly drain: { readonly field: string; readonly system: string };
  /** Of patient identifiers (PID-3), where the patient of a message is held against that of the drain. */
  readonly patient?: { readonly system: string; readonly authority: string };
  /** Of equipment (OBX-18, PRT-10) and of sending applications. */
  readonly devices: string;
  /** Of observers (OBX-16). */
  readonly staff: string;
  /** IANA name of the zone of times without offset. */
  readonly zone?: string;
  readonly observations: readonly ObservationRow[];
  readonly units: readonly UnitRow[];
  /** By code of what is read: how its values are called in messages, and their codes here. */
  readonly values: Readonly<Record<string, Readonly<Record<string, string>>>>;
}

/** A code of OBX-3, by its coding system as HL7 table 0396 names it. */
export interface ObservationRow {
  readonly code: string;
  readonly system: string;
  /** Code of what is read (fhir/raw-codes.ts); null: of no concern to a drain, and passed over. */
  readonly reads: string | null;
}

/** A code of OBX-6. */
export interface UnitRow {
  readonly code: string;
  readonly system: string;
  readonly ucum: string;
}
