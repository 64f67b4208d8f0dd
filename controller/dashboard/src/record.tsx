// What happened: incidents with their plots, events, the logbook. Asked for when looked at, not kept.
import { signal, useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { history } from './ask'
import { clock, tied } from './format'
import { wallNow } from './live'
import { lastSent, LogSheet, openLog } from './logbook'
import type { HistoryReply, Me, Row, StateNow } from './model'
import { Section } from './parts'
import { T } from './texts'
import { Plots, type Marked } from './plots'

const text = (row: Row, key: string): string => (row[key] === undefined || row[key] === null ? '' : String(row[key]))
const when = (row: Row): string => (typeof row['time_s'] === 'number' ? clock(row['time_s'], wallNow(), true) : '')
const newest = (rows: Row[]): Row[] => [...rows].sort((a, b) => Number(b['time_s'] ?? 0) - Number(a['time_s'] ?? 0))

export const marked = (rows: Row[]): Marked[] =>
  rows.flatMap((r) => (typeof r['time_s'] === 'number' ? [{ time_s: r['time_s'], text: text(r, 'sentence') || text(r, 'what'), kind: text(r, 'what') }] : []))

const round = signal(0) // asking again is a new round

function Asked({ rig, what, empty, children }: { rig: string; what: string; empty: string; children: (rows: Row[]) => preact.ComponentChildren }) {
  const rows = useSignal<Row[] | null>(null)
  const error = useSignal('')
  const short = useSignal('')
  useEffect(() => {
    let mine = true
    error.value = ''
    const month = what === 'events' ? { from_s: wallNow() - 7 * 86400, to_s: wallNow() } : {}
    history(rig, what, month).then((r) => { if (mine) { rows.value = newest(r.rows); short.value = r.complete ? '' : T.record.incomplete(r.why) } }, (e: Error) => { if (mine) error.value = T.error(e.message) })
    return () => { mine = false }
  }, [rig, what, round.value])
  if (error.value) return <div><p role="alert">{error.value}</p><button type="button" class="plain" onClick={() => round.value++}>{T.record.again}</button></div>
  if (rows.value === null) return <p role="status">{T.record.loading}</p>
  return <>{short.value && <p role="status">{short.value}</p>}{rows.value.length ? children(rows.value) : !short.value && <p>{empty}</p>}</>
}

function Incident({ row, rig, state }: { row: Row; rig: string; state: StateNow | null }) {
  const shown = useSignal(false)
  const reply = useSignal<HistoryReply | null>(null)
  const error = useSignal('')
  const name = text(row, 'name')
  const toggle = () => {
    shown.value = !shown.value
    if (shown.value && !reply.value) {
      history(rig, 'incident', { name }).then((r) => { reply.value = r }, (e: Error) => { error.value = T.error(e.message) })
    }
  }
  return (
    <li class="entry">
      <button type="button" class="opener" aria-expanded={shown.value} onClick={toggle}>
        <span><small>{when(row)}</small><b>{text(row, 'title') || name}</b><span>{tied(text(row, 'sentence'))}</span></span>
        <i>{shown.value ? T.record.close : T.record.open}</i>
      </button>
      {shown.value && error.value && <p role="alert">{error.value}</p>}
      {shown.value && !error.value && !reply.value && <p role="status">{T.record.loading}</p>}
      {shown.value && reply.value && (
        <>
          <Plots reply={reply.value} state={state} marks={marked(reply.value.rows)} />
          <ul class="log">{reply.value.rows.map((r, i) => <li key={i}><small>{when(r)}</small> {tied(text(r, 'sentence') || text(r, 'what'))}</li>)}</ul>
        </>
      )}
    </li>
  )
}

const amount = (row: Row): string => text(row, 'amount') || text(row, 'number')

const entry = (row: Row): string =>
  [T.record.kinds[text(row, 'kind')]?.title ?? text(row, 'kind'), amount(row) && `${amount(row)} ${text(row, 'unit')}`,
    text(row, 'side') && `${text(row, 'side')} side`, text(row, 'text'), text(row, 'who') && `(${text(row, 'who')})`].filter(Boolean).join(' · ')

export function Record({ rig, state, me }: { rig: string; state: StateNow | null; me: Me | null }) {
  return (
    <div class="columns">
      <div>
        <Section id="incidents" title={T.record.incidents}>
          <Asked rig={rig} what="incidents" empty={T.record.noIncidents}>
            {(rows) => <ul class="log">{rows.map((r) => <Incident key={text(r, 'name')} row={r} rig={rig} state={state} />)}</ul>}
          </Asked>
        </Section>
        <Section id="logbook" title={T.record.logbook}>
          {me?.may_log
            ? <div class="chips grid">{Object.entries(T.record.kinds).map(([kind, w]) => <button type="button" class="plain" key={kind} onClick={() => openLog(kind)}>{w.title}</button>)}</div>
            : <p class="hint">{T.record.needsOperator}</p>}
          {lastSent.value && <p role="status">{lastSent.value} <button type="button" class="plain" onClick={() => round.value++}>{T.record.again}</button></p>}
          <Asked rig={rig} what="logbook" empty={T.record.noLog}>
            {(rows) => <ul class="log">{rows.map((r, i) => <li key={i}><small>{when(r)}</small> {entry(r)}</li>)}</ul>}
          </Asked>
        </Section>
      </div>
      <Section id="events" title={T.record.events}>
        <Asked rig={rig} what="events" empty={T.record.noEvents}>
          {(rows) => <ul class="log">{rows.map((r, i) => <li key={text(r, 'number') || i}><small>{when(r)}</small> {tied(text(r, 'sentence') || `${text(r, 'what')} ${text(r, 'subject')}`)}</li>)}</ul>}
        </Asked>
      </Section>
      <LogSheet rig={rig} />
    </div>
  )
}
