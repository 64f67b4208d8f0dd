// First screen: what it does, how far from its limits, what is wrong, the run, and whether one may go.
import type { ComponentChildren } from 'preact'
import { begin, may } from './command'
import { clock, duration, tied } from './format'
import { doubts, told, type Fresh } from './fresh'
import { beat, serverNow, view, wallNow } from './live'
import { LogSheet, openLog } from './logbook'
import { POWERED, type AlarmNow, type CauseNow, type Me, type StateNow } from './model'
import { Mark, Section } from './parts'
import { T } from './texts'
import { Ways } from './waysView'

/** Times of day are shown only while the rig's clock is set; how long ago is right in any case. */
const at = (state: StateNow, time_s: number) => (state.clock_synchronised ? clock(time_s, wallNow()) : '')
const ago = (state: StateNow, time_s: number, age: number | null) => duration(state.time_s - time_s + (age ?? 0))

export function Freshness({ now }: { now: Fresh }) {
  const state = view.value?.state ?? null
  void beat.value
  const [title, text] = T.fresh[now.kind]
  const doubt = now.kind === 'live' ? doubts(state, now.age, wallNow()) : null
  return (
    <div class="doubts">
      <div role="status" aria-live="polite">
        {now.kind !== 'live' && (
          <div class={`band ${now.kind === 'connecting' ? 'quiet' : 'lost'}`} data-fresh={now.kind}>
            <Mark kind="lost" />
            <div><b>{title}</b><p>{text}</p></div>
          </div>
        )}
        {doubt?.clock && <div class="band doubt" data-doubt="clock"><Mark kind="alarm" /><div><b>{T.clockTitle}</b><p>{T.clockText}</p></div></div>}
        {doubt && doubt.clocks_differ_s !== null && (
          <div class="band doubt" data-doubt="clocks"><Mark kind="alarm" /><div><p>{T.clocksDiffer(duration(Math.abs(doubt.clocks_differ_s)))}</p></div></div>
        )}
        {now.kind === 'live' && (state?.troubles ?? []).length > 0 && (
          <div class="band doubt" data-doubt="link"><Mark kind="alarm" /><div><b>{T.troubleTitle}</b>{state!.troubles.map((t) => <p key={t}>{t}</p>)}</div></div>
        )}
        {doubt && doubt.bad.length > 0 && (
          <div class="band doubt" data-doubt="sensor">
            <Mark kind="alarm" />
            <div><b>{T.sensorTitle(doubt.bad.length)}</b>{doubt.bad.map((b) => <p key={b.title}>{b.title}: {tied(b.plain)}</p>)}</div>
          </div>
        )}
      </div>
    </div>
  )
}

export function Sentence({ state, now }: { state: StateNow; now: Fresh }) {
  if (now.kind === 'live') {
    return (
      <div class="says">
        <p class="sentence">{tied(state.sentence)}</p>
        <p class="since">{T.since(state.state, ago(state, state.since_s, now.age), at(state, state.since_s))}</p>
      </div>
    )
  }
  const when = clock(state.time_s, wallNow(), true)
  return (
    <div class="says past">
      <p class="since"><b>{now.age === null ? T.lastKnownUnaged(when) : T.lastKnown(when, duration(now.age))}</b></p>
      <blockquote class="sentence">“{tied(state.sentence)}”</blockquote>
      <p class="since">{T.wasState(state.state)}</p>
    </div>
  )
}

/** The worst of trips and alarms in one line of the first screen. It is always there, so that nothing moves. */
function Strip({ state, live }: { state: StateNow; live: boolean }) {
  const alarms = state.alarms.filter((a) => a.shelved_until_s === null)
  const worst = state.causes[0] ?? alarms.find((a) => a.standing) ?? alarms[0]
  if (!worst) return <p class="strip">{live ? T.trouble.none : T.trouble.noneWas}</p>
  const kind = state.causes.length ? 'trip' : alarms.some((a) => a.standing) ? 'alarm' : 'over'
  return (
    <button type="button" class={`strip ${kind} ${live ? '' : 'stale'}`} onClick={() => document.getElementById('trouble')?.scrollIntoView()}>
      <Mark kind={kind === 'trip' ? 'trip' : 'alarm'} />
      <span>{live ? '' : `${T.ways.was} `}<b>{worst.title}</b> <small>{T.trouble.see(state.causes.length + alarms.length - 1)} ↓</small></span>
    </button>
  )
}

function Cause({ cause, first, state, age }: { cause: CauseNow; first: boolean; state: StateNow; age: number | null }) {
  return (
    <li class={first ? 'cause first-out' : 'cause'}>
      <h3><Mark kind="trip" /> {cause.title}</h3>
      <p class="tags"><b>{first ? T.trouble.first : T.trouble.later}</b> · {ago(state, cause.time_s, age)}{at(state, cause.time_s) && `, ${at(state, cause.time_s)}`}</p>
      <p>{tied(cause.sentence)}</p>
      {first && <p class={`urgency ${cause.urgency}`}>{cause.urgency === 'now' && <Mark kind="act" />}<b>{T.trouble[cause.urgency]}</b></p>}
      {cause.to_do && <p><b>{T.trouble.doThis}:</b> {tied(cause.to_do)}</p>}
      {cause.not_to_do && <p><b>{T.trouble.dont}:</b> {tied(cause.not_to_do)}</p>}
      {first && <p class="hint">{T.trouble.kinds[cause.kind]}</p>}
    </li>
  )
}

function Alarm({ alarm, state, me, live, age }: { alarm: AlarmNow; state: StateNow; me: Me | null; live: boolean; age: number | null }) {
  const aside = alarm.shelved_until_s !== null
  return (
    <li class={`alarm ${alarm.standing && !aside ? 'standing' : 'over'}`}>
      <h3><Mark kind="alarm" /> {alarm.title}</h3>
      <p class="tags">
        <b>{T.trouble.alarm[alarm.priority]}</b> · {alarm.acknowledged ? T.trouble.seen : <b>{T.trouble.fresh}</b>} · {ago(state, alarm.since_s, age)}
        {!alarm.standing && ` · ${T.trouble.gone}`}{aside && ` · ${T.trouble.shelved(clock(alarm.shelved_until_s!, wallNow()))}`}
      </p>
      <p>{tied(alarm.sentence)}</p>
      {alarm.to_do && <p><b>{T.trouble.doThis}:</b> {tied(alarm.to_do)}</p>}
      {live && may(me, 'acknowledge') && (
        <div class="pair">
          {!alarm.acknowledged && <button type="button" class="plain" onClick={() => begin(state.rig, 'acknowledge', alarm.name)}>{T.trouble.acknowledge}</button>}
          {!aside && <button type="button" class="plain" onClick={() => begin(state.rig, 'shelve', alarm.name)}>{T.trouble.shelve}</button>}
        </div>
      )}
    </li>
  )
}

function Proven({ state }: { state: StateNow }) {
  const p = state.proven
  const open = (what: string, is: boolean | null) => (is === null ? T.trouble.provenUnknown(what) : is ? T.trouble.provenOpen(what) : T.trouble.provenNot(what))
  const of3 = (texts: readonly [string, string, string], is: boolean | null) => texts[is === null ? 2 : is ? 0 : 1]
  return (
    <p class="proven">
      {!POWERED.has(state.state) && <><b>{T.trouble.proven}:</b> {open(T.trouble.main, p.main_open)} · {open(T.trouble.second, p.second_open)} · {of3(T.trouble.current, p.current_zero)}. </>}
      <b>{of3(T.trouble.safe, p.safe_to_open)}</b>{p.safe_to_open_why && `: ${tied(p.safe_to_open_why.replace(/\.$/, ''))}`}.
    </p>
  )
}

function Trouble({ state, me, live, age }: { state: StateNow; me: Me | null; live: boolean; age: number | null }) {
  const well = !state.causes.length && !state.alarms.length
  return (
    <Section id="trouble" title={T.trouble.title}>
      <div aria-live={live ? 'assertive' : 'off'}>
        {well && <p>{live ? T.trouble.none : T.trouble.noneWas}</p>}
        {state.causes.length > 0 && <ol class="cards">{state.causes.map((c, i) => <Cause key={c.name} cause={c} first={i === 0} state={state} age={age} />)}</ol>}
        {state.alarms.length > 0 && <ul class="cards">{state.alarms.map((a) => <Alarm key={a.name} alarm={a} state={state} me={me} live={live} age={age} />)}</ul>}
      </div>
      {live && <Proven state={state} />}
    </Section>
  )
}

const Item = ({ name, children, wide }: { name: string; children: ComponentChildren; wide?: boolean }) => (
  <div class={wide ? 'item wide' : 'item'}><dt>{name}</dt><dd>{children}</dd></div>
)

function Run({ state, me, live, age }: { state: StateNow; me: Me | null; live: boolean; age: number | null }) {
  const { run, gas } = state
  const going = run.began_s !== null
  return (
    <Section id="run" title={T.run.title}>
      {!going && <p>{T.run.none}</p>}
      <dl class={live ? 'items' : 'items stale'}>
        <Item name={T.run.gas} wide>
          <b>{gas.fit ? T.run.fit : T.run.notFit}</b>
          {gas.fit && gas.fit_since_s !== null && `, ${T.run.fitSince(ago(state, gas.fit_since_s, age))}`}
          {!gas.fit && gas.fit_in_s !== null && live && `, ${T.run.fitIn(duration(gas.fit_in_s))}`}
          {!gas.fit && gas.fit_in_s === null && gas.sentence && <small>{gas.sentence}</small>}
        </Item>
        {going && <Item name={T.run.ends} wide>{run.ends || T.run.unknown}</Item>}
        {!going && run.ends && <Item name={T.run.ended} wide>{run.ends}</Item>}
        {going && <Item name={T.run.began}>{ago(state, run.began_s!, age)}</Item>}
        {going && <Item name={T.run.current}>{run.setpoint_a.toFixed(1)} A</Item>}
        <Item name={T.run.hydrogen}>{run.hydrogen_l.toFixed(1)} L</Item>
        <Item name={T.run.energy}>{run.energy_kwh === null ? T.run.unknown : `${run.energy_kwh.toFixed(2)} kWh`}</Item>
        <Item name={T.run.efficiency}>{run.efficiency_hhv === null ? T.run.unknown : `${(100 * run.efficiency_hhv).toFixed(0)} %`}</Item>
        <Item name={T.run.water}>{run.water_used_ml.toFixed(0)} mL</Item>
        <Item name={T.run.topUp}>{run.hours_to_top_up === null ? T.run.unknown : duration(3600 * run.hours_to_top_up)}</Item>
        {going && <Item name={T.run.asked}>{T.run.askers[run.asked_by] ?? run.asked_by}</Item>}
      </dl>
      {me?.may_log && <button type="button" class="plain wide" onClick={() => openLog('topped up')}>{T.run.toppedUp}</button>}
    </Section>
  )
}

function Leave({ state, live }: { state: StateNow; live: boolean }) {
  const { leave } = state
  const tells = told(view.value!, serverNow())
  return (
    <Section id="leave" title={T.leave.title}>
      {!live && <p>{T.leave.was}</p>}
      <p class="big">{leave.may_leave && live ? T.leave.yes : leave.may_leave ? `“${T.leave.yes}”` : T.leave.no}</p>
      {leave.may_leave ? <p>{T.leave.yesWhy}</p> : <ul class="plain-list">{leave.missing.map((m) => <li key={m}>{m}</li>)}</ul>}
      {live && (
        <p class={tells === 'yes' ? 'hint' : 'untold'} data-told={tells}>{T.leave.told[tells]}</p>
      )}
      {leave.grade === 'attended' && <p class="hint">{T.leave.attended}</p>}
    </Section>
  )
}

function Needs({ state }: { state: StateNow }) {
  if (POWERED.has(state.state)) return null
  return (
    <Section id="needs" title={T.needs.title}>
      <ul class="needs">
        {state.permissives.map((p) => (
          <li key={p.name} class={p.met ? 'met' : 'unmet'}>
            <Mark kind={p.met ? 'yes' : 'no'} />
            <div><span>{p.title}</span> <small>{p.met ? T.needs.met : p.met === null ? T.needs.unknown : T.needs.unmet}{!p.met && `: ${tied(p.why)}`}</small></div>
          </li>
        ))}
      </ul>
    </Section>
  )
}

export function Now({ state, now, me }: { state: StateNow; now: Fresh; me: Me | null }) {
  const live = now.kind === 'live'
  void beat.value
  return (
    <div class="columns">
      <div>
        <Sentence state={state} now={now} />
        <Strip state={state} live={live} />
        <Ways state={state} live={live} />
      </div>
      <div>
        <Trouble state={state} me={me} live={live} age={now.age} />
        <Run state={state} me={me} live={live} age={now.age} />
        <Leave state={state} live={live} />
        <Needs state={state} />
      </div>
      <LogSheet rig={state.rig} />
    </div>
  )
}
