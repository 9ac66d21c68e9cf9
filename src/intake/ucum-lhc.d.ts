/** The part of the UCUM library that this service calls; the package ships no types. */
declare module '@lhncbc/ucum-lhc' {
  export const UcumLhcUtils: {
    getInstance(): {
      convertUnitTo(
        from: string,
        value: number,
        to: string,
      ): {
        readonly status: 'succeeded' | 'failed' | 'error';
        readonly toVal: number | null;
        readonly msg: readonly string[];
      };
    };
  };
}
