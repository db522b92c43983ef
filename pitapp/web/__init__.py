"""What two or more rooms need to speak HTTP: making the app, forms, fragments, headers, figures.

Nothing about gears, motors, packs or meetings belongs here.

What is there to use:

- `pitapp.limits.number/whole`: guards for formulas. `pitapp.errors`: the tree; raise `NotThere`,
  `Refused`, `ChangedMeanwhile` from stores.
- `pitapp.web.writes.transactions.write`: wraps every view that changes data, gives it the
  connection inside one `BEGIN IMMEDIATE`; an answer of 400 or more rolls back; an `Idempotency-Key`
  makes it happen once. `once` does the last alone, for what is no plain write (a copy, pairing).
  A row that its address names and that was removed since is answered 409 before the view is asked
  (`db/removed.py`: a new argument of an address needs a line there).
- `pitapp.web.writes.taps`: a tap that goes on from what a page shows ("+5 min", one place up) sends
  what it saw, by `{{ ui.saw(version) }}`; `outdated` finds that another device was quicker,
  `stale_response` shows the screen as it is now with the reason (409). What counts is a number that
  each such tap makes greater by one, so that the worker can count the taps that wait on the same
  phone.
- `pitapp.web.writes.undo.notice(sentence, token)`: the bar at the foot of the next page. It belongs
  to the write in which it is said (`web/writes/notices.py`): one that fails, at its commit too, has
  said nothing.
- `pitapp.web.http.htmx`: `show(page, status, **values)`, `show_part(...)` for a fragment's
  own address, `after_write(page_endpoint, part_endpoint, **arguments)` (303). Forms work without
  JavaScript; htmx adds `hx-post` to the same address with `hx-target="#<name>-part"
  hx-swap="outerHTML"`. Never one URL for page and fragment on GET. Where a racer may go on typing
  or tapping while an answer is on its way, add `hx-sync="this:replace"`: left alone, htmx drops the
  third request. A field that a script fills sends an `input` event: `js/offline.js` then puts it
  back after a swap.
- `pitapp.web.forms.fields`: `NumberField`, `WholeField`, `QuantityField(kind=…)`, `MilliohmField`,
  `Needed`; `pitapp.web.forms.datetime_field`: `MomentField` (a day and a time), `NotAhead`. A field
  that a form fills in by itself is drawn by `{{ ui.hidden(form.version) }}`, which shows it when it
  is at fault. Decimal commas are understood, what was typed is kept. A quantity's field shows a
  rounded value and sends the exact one along (`<name>-exact`): a field that nobody touched changes
  nothing.
- `pitapp.web.http.typed_text`: what nobody sees (control characters, changes of direction) is taken
  out of every field of a request as it is read; a `PitForm` says so at the field (422). What comes
  along with nearly every copy (spaces without width, soft hyphens, marks of direction) goes silently.
- `ui.record(address, form)` around the fields of a record's form; `ui.post_button(address, label)` for its removal.
- `ui.add_new(address, label)`, `onward` and `choose_added`: the way from a form to what one of its lists
  lacks, and back with the new one chosen. Scripts keep what was typed (`drafts.js`); without them it
  goes along by `pitapp.web.writes.typed`.
- `PitForm.fill(Model, **more)` → the model, or None with pydantic's findings at the fields in
  words. `pitapp.web.writes.submission.save_form` saves it, or answers with the form again: 422, or
  409 with what a second device changed (a hidden `version` field, `PitForm.show_conflict`).
- `pitapp.web.clock`: `now()` (never `datetime.now()`; for a late write it is the moment that its
  phone says), `present()` where a request may not choose the moment (who comes in), `home_zone()`,
  `current_settings()`; filter `moment`. The database keeps UTC.
- `pitapp.web.forms.quantities`: metric inside; filters `quantity(kind)`, `rounded(n)`, `signed(n)`,
  `plain`; kinds `speed temperature temperature_change mass track_length`.
- `templates/macros.html`, in every template as `ui` (no import needed): `figure stepper field tick
  choices row verdict step_card undo_bar car_chip error form_errors csrf`. Figures are `<data id
  value>` in metric with full precision. The current car is `kit.store.current_car(connection,
  current_settings())`, the class that it is judged by `meetings.store.class_raced(connection,
  meeting, car.id)` and nothing else: the meeting's counts for the meeting's car, another car goes
  by the class that it raced last.
- CSS: `static/css/tokens.css` (colours, sizes; text is never under 18 px), `base.css`, `parts.css`,
  and one small file a room that needs one, linked from its page in `{% block styles %}`. No inline
  script or style, no `hx-on`, no trigger filters. Icons are drawn by the filter `icon`
  (`"stop"|icon`), static files named by `static_url` (`'css/roll.css'|static_url`).
- `static/js/`: ES modules, one a page that needs one, linked in `{% block scripts %}`.
- `static/js/drafts.js` keeps what is typed on any posted form in localStorage, by the form's
  address, its hidden `*_id` fields, `track` and `race_class`: a form needs nothing for it. Never
  hidden fields, files or passwords. `data-draft` gives another address (`none`: nothing is kept),
  `data-unit` a field's unit where no `.field-unit` stands beside it. A draft goes when its key is
  in the cookie of what was saved (`web/writes/saved.py`: an answer that leads on) or in the outbox,
  after 30 days, as the oldest of more than 40, and on the pairing page of a device that was removed
  (`js/forget-drafts.js`).
"""
