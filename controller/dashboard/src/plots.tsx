// Plots of recorded signals, one below the other, moved together; the drawing itself is fetched when first needed.
import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { clock, figure, limitFigure, unitText, type Scale } from './format'
import { wallNow } from './live'
import type { HistoryReply, StateNow, TrendLine } from './model'
import { scale } from './prefs'
import { T } from './texts'
import type { Drawn, Threshold } from './trend'

export interface Marked { time_s: number; text: string; kind: string }

const module = () => import(/* @vite-ignore */ `/a/${window.lyewatch?.build}/trend.js`) as Promise<typeof import('./trend')>

const convert = (unit: string, units: Scale) => (v: number) => (unit === 'C' && units === 'F' ? v * 1.8 + 32 : v)

export function thresholds(state: StateNow | null, signal: string): Threshold[] {
  return (state?.margins ?? []).filter((m) => m.signal === signal && m.unit !== '').map((m) => ({ value: m.threshold, text: T.ways.effect[m.effect], trip: m.effect === 'trip' || m.effect === 'stop' }))
}

/** For those who do not see the picture. */
export function summary(line: TrendLine, title: string, limits: Threshold[], units: Scale): string {
  const seen = line.value.filter((v): v is number => v !== null)
  if (!seen.length) return `${title}: ${T.trends.empty}`
  let gaps = 0
  line.value.forEach((v, i) => { if (v === null && i > 0 && line.value[i - 1] !== null) gaps++ })
  const text = (v: number) => `${figure(v, line.unit, units)} ${unitText(line.unit, units)}`
  const list = limits.map((l) => `${l.text} ${limitFigure(l.value, line.unit, units)} ${unitText(line.unit, units)}`).join(', ')
  const low = seen.reduce((a, b) => Math.min(a, b))
  const high = seen.reduce((a, b) => Math.max(a, b))
  return T.trends.summary(title, text(low), text(high), text(seen[seen.length - 1]!), gaps) + (list ? T.trends.limits(list) : '')
}

export function Plots({ reply, state, marks, onRange }: {
  reply: HistoryReply; state: StateNow | null; marks: Marked[]; onRange?: (from_s: number, to_s: number) => void
}) {
  const host = useRef<HTMLDivElement>(null)
  const drawn = useRef<Drawn | undefined>(undefined)
  const under = useSignal<number | null>(null)
  const units = scale.value
  const lines = reply.trends
  useEffect(() => {
    let mine = true
    void module().then(({ draw }) => {
      if (!mine || !host.current) return
      drawn.current?.destroy()
      drawn.current = draw(
        [...host.current.querySelectorAll<HTMLElement>('.plot-box')],
        lines.map((line) => {
          const to = convert(line.unit, units)
          return {
            time_s: line.time_s, value: line.value.map((v) => (v === null ? null : to(v))), marks,
            limits: thresholds(state, line.signal).map((l) => ({ ...l, value: to(l.value) })),
          }
        }),
        { onCursor: (at) => { under.value = at }, onRange: onRange ?? (() => {}) },
      )
    }).catch(() => {})
    return () => { mine = false; drawn.current?.destroy(); drawn.current = undefined }
    // the limits are drawn as they stand when the data come; a new state each second draws nothing anew
  }, [reply, units])
  return (
    <div ref={host} class="plots">
      {lines.map((line) => {
        const title = state?.signals.find((s) => s.name === line.signal)?.title ?? line.signal
        const at = under.value
        const value = at === null ? lastOf(line) : (line.value[at] ?? null)
        const time = at === null ? '' : clock(line.time_s[at] ?? 0, wallNow(), true)
        return (
          <figure key={line.signal}>
            <figcaption><b>{title}</b>
              <span>{time && `${time}  `}{value === null ? T.trends.gap : `${figure(value, line.unit, units)} ${unitText(line.unit, units)}`}</span>
            </figcaption>
            <div class="plot-box" role="img" aria-label={summary(line, title, thresholds(state, line.signal), units)} />
          </figure>
        )
      })}
      {!reply.complete && <p class="hint">{T.trends.incomplete(reply.why)}</p>}
    </div>
  )
}

const lastOf = (line: TrendLine): number | null => line.value.reduce<number | null>((last, v) => v ?? last, null)
