/**
 * Published figures that a drain was taken out by, each as its source states it. Data: a row is shown beside what was
 * measured and chosen by whoever asks; none is a default. Every source adds that the lung is up on a film, which no entry
 * shows.
 */
import type { FluidCharacter, Indication, Population, Site } from '../vocabulary/entry.ts';

/** Over trailing 24 elapsed hours. */
export interface VolumeLimit {
  readonly operator: '<' | '<=';
  readonly threshold: number;
  readonly unit: 'mL' | 'mL/kg';
}

/** Flow of an air leak below a limit, for longer than so many hours. */
export interface FlowLimit {
  readonly operator: '<';
  readonly threshold_ml_min: number;
  readonly longer_than_h: number;
}

export interface RemovalPolicy {
  readonly id: string;
  readonly source: string;
  readonly year: number;
  readonly setting: string;
  /** Whom it was published for. */
  readonly population: Population;
  readonly indication: Indication;
  readonly sites: readonly Site[];
  /** Null: the source sets no limit of volume. */
  readonly volume: VolumeLimit | null;
  /** 'none': no leak at all. */
  readonly air_leak: 'none' | FlowLimit;
  /** Characters that meet the condition and that do not; of others it says nothing. */
  readonly fluid: {
    readonly met_by: readonly FluidCharacter[];
    readonly not_met_by: readonly FluidCharacter[];
  } | null;
  /** What of the row is not in its source as read here. */
  readonly remarks: readonly string[];
}

const SURGERY = {
  population: 'adult',
  indication: 'thoracic-surgery',
  sites: ['pleural-left', 'pleural-right'],
} as const;

/** Neither bloody, chylous nor purulent. */
const CLEAR = { met_by: ['serous'], not_met_by: ['sanguineous', 'chylous', 'purulent'] } as const;
const SEROUS_ONLY = {
  met_by: ['serous'],
  not_met_by: ['serosanguineous', 'sanguineous', 'chylous', 'purulent'],
} as const;

const LOW_FLOW: FlowLimit = { operator: '<', threshold_ml_min: 20, longer_than_h: 6 };
const OPERATOR_NOT_SEEN =
  'Whether the limit itself counts is not stated in what was read: < is the stricter.';

const limit = (operator: VolumeLimit['operator'], threshold: number, unit: VolumeLimit['unit'] = 'mL') => ({
  operator,
  threshold,
  unit,
});

export const REMOVAL_POLICIES: readonly RemovalPolicy[] = [
  {
    id: 'lobectomy-450-ml-2017',
    source: 'Society for Translational Medicine guideline, Gao et al., J Thorac Dis 2017;9:3255-64, GRADE 2B',
    year: 2017,
    setting: 'lobectomy',
    ...SURGERY,
    volume: limit('<=', 450),
    air_leak: 'none',
    fluid: CLEAR,
    remarks: [],
  },
  {
    id: 'lung-resection-450-ml-2008',
    source: 'Cerfolio and Bryant, J Thorac Cardiovasc Surg 2008;135:269-73, n = 2077',
    year: 2008,
    setting: 'lung resection',
    ...SURGERY,
    volume: limit('<=', 450),
    air_leak: 'none',
    fluid: CLEAR,
    remarks: [],
  },
  {
    id: 'vats-lobectomy-500-ml-2014',
    source: 'Bjerregaard et al., Eur J Cardiothorac Surg 2014, PMID 23872457, n = 599',
    year: 2014,
    setting: 'video-assisted lobectomy',
    ...SURGERY,
    volume: limit('<=', 500),
    air_leak: 'none',
    fluid: SEROUS_ONLY,
    remarks: [],
  },
  {
    id: 'lobectomy-100-ml-2014',
    source: 'Zhang et al., World J Surg 2014;38:60-7, n = 90, control arm',
    year: 2014,
    setting: 'lobectomy',
    ...SURGERY,
    volume: limit('<', 100),
    air_leak: 'none',
    fluid: CLEAR,
    remarks: [],
  },
  {
    id: 'lobectomy-300-ml-2014',
    source: 'Zhang et al., World J Surg 2014;38:60-7, n = 90, other arm',
    year: 2014,
    setting: 'lobectomy',
    ...SURGERY,
    volume: limit('<', 300),
    air_leak: 'none',
    fluid: CLEAR,
    remarks: [OPERATOR_NOT_SEEN],
  },
  {
    id: 'lung-resection-3-ml-kg-2015',
    source: 'Mesa-Guzman et al., J Thorac Dis 2015, n = 444, first limit',
    year: 2015,
    setting: 'lung resection',
    ...SURGERY,
    volume: limit('<', 3, 'mL/kg'),
    air_leak: LOW_FLOW,
    fluid: CLEAR,
    remarks: [OPERATOR_NOT_SEEN],
  },
  {
    id: 'lung-resection-7-ml-kg-2015',
    source: 'Mesa-Guzman et al., J Thorac Dis 2015, n = 444, second limit',
    year: 2015,
    setting: 'lung resection',
    ...SURGERY,
    volume: limit('<', 7, 'mL/kg'),
    air_leak: LOW_FLOW,
    fluid: CLEAR,
    remarks: [OPERATOR_NOT_SEEN],
  },
  {
    id: 'lung-resection-flow-2023',
    source: 'Abdul Khader et al., J Thorac Dis 2023',
    year: 2023,
    setting: 'lung resection',
    ...SURGERY,
    volume: null,
    air_leak: LOW_FLOW,
    fluid: CLEAR,
    remarks: [],
  },
];
