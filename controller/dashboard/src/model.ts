// What the server sends: the same shapes as controller/link/messages.py and controller/page/rigs.py.
export type Status = 'good' | 'maintenance required' | 'out of specification' | 'function check' | 'failure'
export type Effect = 'alarm' | 'derate' | 'stop' | 'trip'

export interface SignalNow { name: string; title: string; unit: string; value: number | null; status: Status; plain: string; age_s: number }
export interface MarginNow {
  limit: string; title: string; signal: string; unit: string; value: number | null; threshold: number; rises: boolean
  effect: Effect; armed: boolean; left: number | null; left_fraction: number | null; seconds_to_limit: number | null
  standing: boolean; bypassed: boolean
}
export interface CauseNow {
  name: string; title: string; sentence: string; kind: 'resettable' | 'local' | 'lock-out'; time_s: number
  urgency: 'now' | 'morning'; to_do: string; not_to_do: string
}
export interface AlarmNow {
  name: string; title: string; sentence: string; priority: 'high' | 'medium' | 'low'; since_s: number; standing: boolean
  acknowledged: boolean; shelved_until_s: number | null; to_do: string
}
export interface PermissiveNow { name: string; title: string; met: boolean | null; why: string }
export interface RunNow {
  began_s: number | null; asked_by: string; wanted_a: number; setpoint_a: number; charge_ah: number; hydrogen_l: number
  energy_kwh: number | null; efficiency_hhv: number | null; water_used_ml: number; hours_to_top_up: number | null; ends: string
}
export interface GasNow { fit: boolean; fit_since_s: number | null; fit_in_s: number | null; sentence: string }
export interface LeaveNow { grade: 'attended' | 'unattended'; may_leave: boolean; missing: string[] }
export interface ProvenNow {
  main_open: boolean | null; second_open: boolean | null; current_zero: boolean | null; safe_to_open: boolean | null
  safe_to_open_why: string
}
export interface StateNow {
  rig: string; boot: string; number: number; time_s: number; clock_synchronised: boolean; simulated: boolean; state: string
  since_s: number; sentence: string; nearest: string | null; signals: SignalNow[]; margins: MarginNow[]; causes: CauseNow[]
  permissives: PermissiveNow[]; run: RunNow; gas: GasNow; leave: LeaveNow; proven: ProvenNow; outputs: Record<string, boolean>
  enabled_until_s: number | null; held_by: string; hold_reason: string; remote_may: string[]; alarms: AlarmNow[]; troubles: string[]; events: number
}
export interface Brief {
  rig: string; arrived: number | null; present: string | null; state: string; sentence: string; simulated: boolean
  time_s: number | null; trips: number; alarms: number
}
export interface Me { name: string; role: 'nobody' | 'viewer' | 'operator'; may: string[]; may_log: boolean; may_fault: boolean; secure: boolean }
/** A notify: it tells people. `arrived`: its newest own word; null: only what the broker kept of it. */
export interface Watcher { present: 'here' | 'gone' | 'ended'; arrived: number | null }
export interface View {
  build: string; broker: { up: boolean; since: number; why: string }; rig: string; arrived: number | null
  presence: { present: 'here' | 'gone' | 'ended'; time_s: number | null } | null; state: StateNow | null; watchers: Record<string, Watcher>; rigs: Brief[]; me: Me | null
}
export interface Frame { t: number; all?: View; d?: unknown }
export interface TrendLine { signal: string; unit: string; time_s: number[]; value: (number | null)[] }
export type Row = Record<string, unknown>
export interface HistoryReply { trends: TrendLine[]; rows: Row[]; complete: boolean; why: string }
export interface FaultNow { name: string; title: string; active: boolean }

/** States in which current may flow: until stop has been answered, a stop has something to do. */
export const POWERED = new Set(['checking', 'purging', 'ramping', 'venting', 'running', 'stopping'])
