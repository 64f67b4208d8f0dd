// Trends: which signals, how far back; every gesture has a button too.
import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { history } from './ask'
import { clock, tied } from './format'
import { wallNow } from './live'
import type { HistoryReply, StateNow } from './model'
import { Plots, type Marked } from './plots'
import { chosen } from './prefs'
import { marked } from './record'
import { T } from './texts'

const AT_MOST = 4

export function Trends({ rig, state }: { rig: string; state: StateNow | null }) {
  const span = useSignal(3600)
  const end = useSignal<number | null>(null) // null: now, and on
  const reply = useSignal<HistoryReply | null>(null)
  const marks = useSignal<Marked[]>([])
  const error = useSignal('')
  const again = useSignal(0)
  const signals = (state?.signals ?? []).filter((s) => s.unit !== '')
  const nearest = state?.margins.find((m) => m.limit === state.nearest)?.signal
  const wanted = chosen.value.filter((n) => signals.some((s) => s.name === n))
  const names = wanted.length ? wanted : nearest ? [nearest] : signals.slice(0, 1).map((s) => s.name)
  const key = names.join()
  useEffect(() => {
    let mine = true
    if (!names.length) return
    const to_s = end.value ?? wallNow()
    const from_s = to_s - span.value
    error.value = ''
    Promise.all([history(rig, 'trend', { signals: names, from_s, to_s, points: 500 }), history(rig, 'events', { from_s, to_s })]).then(
      ([trend, events]) => {
        if (!mine) return
        trend.trends.sort((a, b) => names.indexOf(a.signal) - names.indexOf(b.signal))
        reply.value = trend
        marks.value = marked(events.rows).filter((m) => m.time_s >= from_s && m.time_s <= to_s)
      },
      (e: Error) => { if (mine) error.value = T.error(e.message) },
    )
    const next = end.value === null ? setTimeout(() => again.value++, Math.max(10_000, span.value * 4)) : undefined
    return () => { mine = false; clearTimeout(next) }
  }, [rig, key, span.value, end.value, again.value])

  const move = (by: number) => {
    const to = (end.value ?? wallNow()) + by * span.value
    end.value = to >= wallNow() ? null : to
  }
  const zoom = (by: number) => {
    const middle = (end.value ?? wallNow()) - span.value / 2
    span.value = Math.min(Math.max(span.value * by, 60), 366 * 86400)
    const to = middle + span.value / 2
    end.value = to >= wallNow() ? null : to
  }
  const toggle = (name: string) => {
    const now = names.includes(name) ? names.filter((n) => n !== name) : [...names, name]
    chosen.value = now.slice(-AT_MOST)
  }
  return (
    <section id="trends" aria-labelledby="trends-title">
      <h2 id="trends-title">{T.trends.title}</h2>
      <div class="segments" role="group" aria-label={T.trends.range}>
        {T.trends.ranges.map(([s, name]) => (
          <button type="button" key={s} aria-pressed={span.value === s && end.value === null} onClick={() => { span.value = s; end.value = null }}>{name}</button>
        ))}
      </div>
      <div class="chips grid" role="group" aria-label={T.trends.signals}>
        {signals.map((s) => <button type="button" class="chip" key={s.name} aria-pressed={names.includes(s.name)} onClick={() => toggle(s.name)}>{s.title}</button>)}
      </div>
      {error.value && <p role="alert">{error.value} <button type="button" class="plain" onClick={() => again.value++}>{T.record.again}</button></p>}
      {!reply.value && !error.value && names.length > 0 && <p role="status">{T.trends.loading}</p>}
      {!names.length && <p>{T.trends.none}</p>}
      {reply.value && (
        <Plots reply={reply.value} state={state} marks={marks.value} onRange={(from, to) => { span.value = to - from; end.value = to >= wallNow() ? null : to }} />
      )}
      <p class="hint">{T.trends.touch}</p>
      <div class="chips">
        <button type="button" class="plain" onClick={() => move(-0.5)}>{T.trends.earlier}</button>
        <button type="button" class="plain" disabled={end.value === null} onClick={() => move(0.5)}>{T.trends.later}</button>
        <button type="button" class="plain" onClick={() => zoom(0.5)}>{T.trends.closer}</button>
        <button type="button" class="plain" onClick={() => zoom(2)}>{T.trends.wider}</button>
        {end.value !== null && <button type="button" class="plain" onClick={() => { end.value = null }}>{T.trends.toNow}</button>}
      </div>
      <h3>{T.trends.marks}</h3>
      {marks.value.length ? <ul class="log">{marks.value.map((m, i) => <li key={i}><small>{clock(m.time_s, wallNow(), true)}</small> {tied(m.text)}</li>)}</ul> : <p>{T.trends.noMarks}</p>}
    </section>
  )
}
