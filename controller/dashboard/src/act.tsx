// Everything that does something, and what this phone likes.
import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { ask } from './ask'
import { begin, may } from './command'
import { clock } from './format'
import { wallNow } from './live'
import { POWERED, type FaultNow, type Me, type StateNow } from './model'
import { Mark, Section } from './parts'
import { scale, theme } from './prefs'
import { T } from './texts'

const ORDER = ['start', 'set-current', 'reset', 'silence', 'hold', 'disable']

/** Which of the verbs make sense in this state; the guard still decides. */
function sensible(verb: string, state: StateNow): boolean {
  const powered = POWERED.has(state.state)
  const tripped = state.causes.length > 0
  if (verb === 'start') return !powered && !tripped && state.state !== 'out of service'
  if (verb === 'set-current') return powered
  if (verb === 'reset') return tripped
  if (verb === 'silence') return state.outputs['horn'] === true
  if (verb === 'disable') return state.enabled_until_s !== null
  return !powered && !tripped
}

function Commands({ state, me, live }: { state: StateNow; me: Me | null; live: boolean }) {
  const open = ORDER.filter((v) => may(me, v) && sensible(v, state) && state.remote_may.includes(v))
  const closed = ORDER.filter((v) => may(me, v) && sensible(v, state) && !state.remote_may.includes(v))
  return (
    <Section id="commands" title={T.act.title}>
      {!live && <p class="caution"><Mark kind="lost" /> <span>{T.act.notNow}</span></p>}
      {me?.role !== 'operator' && <p>{T.act.needsOperator}</p>}
      {me?.role === 'operator' && live && (
        <>
          <p class="hint">{state.enabled_until_s === null ? T.act.needsEnable : T.act.enabled(clock(state.enabled_until_s, wallNow()))}</p>
          {open.map((v) => (
            <button type="button" class="plain wide" key={v} onClick={() => begin(state.rig, v, '', v === 'set-current' ? state.run.wanted_a : null)}>{T.act.verbs[v]!.title}</button>
          ))}
          {closed.map((v) => <p class="hint" key={v}>{T.act.verbs[v]!.title.replace(' …', '')}: {T.act.notAllowed}</p>)}
        </>
      )}
    </Section>
  )
}

function Faults({ rig }: { rig: string }) {
  const list = useSignal<FaultNow[] | null>(null)
  const error = useSignal('')
  const again = useSignal(0)
  useEffect(() => {
    ask<{ faults: FaultNow[] }>(`/api/faults/${encodeURIComponent(rig)}`).then((r) => { list.value = r.faults }, (e: Error) => { error.value = `${T.act.noFaults} (${e.message})` })
  }, [rig, again.value])
  const play = (f: FaultNow) => {
    error.value = ''
    ask('/api/fault', { rig, name: f.name, clear: f.active }).then(() => { again.value++ }, (e: Error) => { error.value = T.error(e.message) })
  }
  return (
    <Section id="faults" title={T.act.faults}>
      <p class="hint">{T.act.faultsHint}</p>
      {error.value && <p role="alert">{error.value}</p>}
      <ul class="faults">
        {(list.value ?? []).map((f) => (
          <li key={f.name}><span>{f.title}</span>
            <button type="button" class={f.active ? 'firm' : 'plain'} aria-label={`${f.active ? T.act.clear : T.act.cause}: ${f.title}`} onClick={() => play(f)}>{f.active ? T.act.clear : T.act.cause}</button></li>
        ))}
      </ul>
    </Section>
  )
}

export function LogIn() {
  const name = useSignal('')
  const password = useSignal('')
  const error = useSignal('')
  const busy = useSignal(false)
  const go = async (event: Event) => {
    event.preventDefault()
    busy.value = true
    try {
      await ask('/api/login', { name: name.value, password: password.value })
      location.reload()
    } catch (problem) {
      error.value = T.error((problem as Error).message)
      password.value = ''
      busy.value = false
    }
  }
  return (
    <form class="login" onSubmit={(e) => void go(e)}>
      <label class="field"><span>{T.act.name}</span><input autocomplete="username" autocapitalize="none" required value={name.value} onInput={(e) => { name.value = e.currentTarget.value }} /></label>
      <label class="field"><span>{T.act.password}</span><input type="password" autocomplete="current-password" required value={password.value} onInput={(e) => { password.value = e.currentTarget.value }} /></label>
      {error.value && <p role="alert">{error.value}</p>}
      <button class="firm wide" disabled={busy.value}>{T.act.logIn}</button>
    </form>
  )
}

const Choice = ({ name, value, all, set }: { name: string; value: string; all: [string, string][]; set: (v: string) => void }) => (
  <div class="setting"><span id={`set-${name}`}>{name}</span>
    <div class="segments" role="group" aria-labelledby={`set-${name}`}>
      {all.map(([v, text]) => <button type="button" key={v} aria-pressed={value === v} onClick={() => set(v)}>{text}</button>)}
    </div></div>
)

export function Act({ rig, state, me, live }: { rig: string; state: StateNow | null; me: Me | null; live: boolean }) {
  const logOut = () => void ask('/api/logout', {}).finally(() => location.reload())
  return (
    <div class="columns">
      <div>
        {state && <Commands state={state} me={me} live={live} />}
        <Section id="steps" title={T.act.steps}><p>{T.act.noSteps}</p></Section>
        {state?.simulated && me?.may_fault && <Faults rig={rig} />}
      </div>
      <div>
        <Section id="account" title={T.act.account}>
          <p>{T.act.who(me?.name ?? '', me?.role ?? 'nobody')}</p>
          {me?.name ? <button type="button" class="plain wide" onClick={logOut}>{T.act.logOut}</button> : <LogIn />}
        </Section>
        <Section id="display" title={T.act.display}>
          <Choice name={T.act.scale} value={scale.value} all={[['C', '°C'], ['F', '°F']]} set={(v) => { scale.value = v as 'C' | 'F' }} />
          {scale.value === 'F' && <p class="hint">{T.act.scaleNote}</p>}
          <Choice name={T.act.theme} value={theme.value} all={Object.entries(T.act.themes)} set={(v) => { theme.value = v }} />
        </Section>
        <Section id="safety" title={T.act.safety}>
          <p>{me?.secure ? T.act.secure : T.act.plain}</p>
          <p><a href="/api/openapi.json">{T.act.api}</a></p>
        </Section>
      </div>
    </div>
  )
}
