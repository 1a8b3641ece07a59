"""The keeper's acts on what came out: watched, sexed, checked, marked, kept or released; and places cleaned."""

from datetime import datetime, timedelta

from pupawatch.care import adults, health
from pupawatch.care.adults import Weather
from pupawatch.care.forecast.heat import Newest, newest
from pupawatch.errors import NotUnderstood, Refused
from pupawatch.keeper.conditions import conditions
from pupawatch.keeper.desk import REMEMBERED
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk, Whom, one_of
from pupawatch.model.codes import ADULT_SIGHTINGS, ORIGINS, SEXES, SKIES
from pupawatch.model.degrees import shown_degrees
from pupawatch.model.entries import (
    AdultSeen,
    Entry,
    Finding,
    Kept,
    Marked,
    Origin,
    Released,
    Sexed,
    kind_of,
)
from pupawatch.model.fields import CELSIUS, MOST_SPORES
from pupawatch.model.pupa import Pupa
from pupawatch.model.spores import counted
from pupawatch.model.state import folded
from pupawatch.model.text import LONGEST_LABEL, LONGEST_NAME, LONGEST_NOTE, checked, quoted
from pupawatch.model.times import Span, shown_time
from pupawatch.words.adults import advice_words
from pupawatch.words.entries import sighting_words


class Adults:
    """What a keeper does after the case has split. Errors are as for every act (see ``Keeper``)."""

    def __init__(self, desk: NamingDesk) -> None:
        self._desk = desk

    def seen(self, whom: Whom, what: str, when: Span | None = None) -> Done:
        """The adult fell, climbed back, was helped up, has its wings full, or died: one of ADULT_SIGHTINGS."""
        one_of("sighting of a butterfly", what, ADULT_SIGHTINGS)

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._adult(whom, when)
            if what in ("climbed", "helped") and pupa.fallen is None:
                raise NotUnderstood(f"{pupa.label} is not on the floor; record first that it fell.")
            words = f"{pupa.label}: {sighting_words(what)}."
            if what == "fell" and (when.until if when else now) < adults.clocks(pupa, self._desk.settings).hard.until:
                words += f" {self._desk.settings.care.floor.steps[0]}"
            return Draft(words, [], [AdultSeen(**stamp.at(when), pupa=pupa.id, what=what)])

        return self._desk.write(when, plan)

    def sexed(self, whom: Whom, sex: str, when: Span | None = None) -> Done:
        """The sex was seen."""
        sex = next((one for one in SEXES if sex and one.startswith(sex.casefold())), sex)
        one_of("sex", sex, SEXES)

        def plan(stamp: Stamp) -> Draft:
            pupa = self._desk.pupa(whom)
            return Draft(f"{pupa.label} is a {sex}.", [], [Sexed(**stamp.at(when), pupa=pupa.id, sex=sex)])

        return self._desk.write(when, plan)

    def came_from(self, whom: Whom, origin: str, when: Span | None = None) -> Done:
        """Where the individual came from: one of ORIGINS."""
        one_of("origin", origin, ORIGINS)

        def plan(stamp: Stamp) -> Draft:
            pupa = self._desk.pupa(whom)
            words = f"{pupa.label} came from: {origin.replace('-', ' ')}."
            return Draft(words, [], [Origin(**stamp.at(when), pupa=pupa.id, origin=origin)])

        return self._desk.write(when, plan)

    def check_health(
        self,
        whom: Whom,
        signs: list[str],
        text: str = "",
        spores: int | None = None,
        when: Span | None = None,
        load: int | None = None,
    ) -> Done:
        """A second look at a pupa or an adult: the signs that were seen, none of them where it looks as it should.

        signs: names of the settings or the keeper's own words; text: what to add; spores: how many were counted on a
        tape print (≥ 0); load: in its stead the class of a count, as older versions recorded it.
        """
        words = self._desk.settings.health
        seen = [checked(sign, "the sign", LONGEST_NAME) for sign in signs] or [health.NOTHING]
        text = checked(text, "what you add", LONGEST_NOTE) if text.strip() else ""
        if load is not None and not 0 <= load < len(words.older_classes):
            most = len(words.older_classes) - 1
            raise NotUnderstood(f"There is no spore class {load}; the classes are 0 to {most}. Better type the count.")
        if spores is not None and not 0 <= spores <= MOST_SPORES:
            raise NotUnderstood(f"A spore count lies between 0 and {MOST_SPORES}; {spores} does not.")
        found = counted(spores, load, words.older_classes)
        if found is not None and "spores" not in seen:
            seen = [*(sign for sign in seen if sign != health.NOTHING), "spores"]

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._desk.pupa(whom)
            at = when.until if when else now
            if pupa.lost is not None and pupa.lost.happened < at:
                raise NotUnderstood(f"{pupa.label} was lost before that; add a note instead.")
            findings: list[Entry] = []
            for sign in dict.fromkeys(seen):
                more = text if not findings else ""
                count = (spores, load) if sign == "spores" else (None, None)
                told_of = Finding(**stamp.at(when), pupa=pupa.id, sign=sign, text=more, spores=count[0], load=count[1])
                findings.append(told_of)
            told = ", ".join(sign.replace("-", " ") for sign in dict.fromkeys(seen))
            told += f" ({found.words} counted)" if found is not None else ""
            none_found = found is not None and found.high == 0 and len(set(seen)) == 1
            grade = "normal" if none_found else health.grade(seen, words)
            next_step = {"set-apart": " Keep it away from the others.", "look-again": " Look again tomorrow."}.get(
                grade, ""
            )
            if grade == "set-apart":
                gravest = next(sign for sign in seen if health.grade([sign], words) == grade)
                next_step += f" {words.signs[gravest].do}"
            return Draft(f"{pupa.label}: {told}.{next_step}", [], findings)

        return self._desk.write(when, plan)

    def mark(self, whom: Whom, code: str = "", sex: str = "", origin: str = "", when: Span | None = None) -> Done:
        """Put a mark on the adult, and write down what was seen along with it.

        code: "" takes the next one of the series. Raises Refused before the set hours are over, for an adult on the
        floor with soft wings, and for a code that was used this season.
        """
        for what, word, allowed in (("sex", sex, SEXES), ("origin", origin, ORIGINS)):
            if word:
                one_of(what, word, allowed)
        given = checked(code, "the mark", LONGEST_LABEL) if code.strip() else ""

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._adult(whom, when)
            at = when.until if when else now
            used = self.marks_of_season(at)
            mark = given or adults.next_code(used, self._desk.settings)
            if not mark:
                raise NotUnderstood("No code can be proposed: none with a number was used this season. Type one.")
            self._check_mark(pupa, mark, used, at, now)
            entries: list[Entry] = [Marked(**stamp.at(when), pupa=pupa.id, code=mark)]
            if sex and sex != pupa.sex:
                entries.append(Sexed(**stamp.at(when), pupa=pupa.id, sex=sex))
            if origin and origin != pupa.origin:
                entries.append(Origin(**stamp.at(when), pupa=pupa.id, origin=origin))
            warnings = [f"{pupa.label} was marked {pupa.marked.code} before."] if pupa.marked else []
            if adults.cannot_fly(pupa, self._desk.settings):
                warnings.append("Its wings were judged unable to fly.")
            return Draft(f"{pupa.label} is marked {mark}.", warnings, entries)

        return self._desk.write(when, plan)

    def release(
        self,
        whom: Whom,
        place: str = "",
        kept: str = "",
        weather: Weather = Weather(),  # noqa: B008 (a tuple)
        when: Span | None = None,
        despite: str = "",
    ) -> Done:
        """Let the adult fly from ``place``; or, where it cannot, write down that it is kept in ``kept``.

        despite: why it is released although it carries so many spores that the program asks first. Raises Refused where
        that is asked and not said, and for an adult judged unable to fly where nobody says where it is kept. What else
        speaks against letting it fly now is a warning: the keeper decides.
        """
        if weather.sky:
            one_of("sky", weather.sky, SKIES)
        if weather.temperature_c is not None and not CELSIUS.holds(weather.temperature_c):
            warmth = shown_degrees(weather.temperature_c, self._desk.settings.unit)
            raise NotUnderstood(f"{warmth} is not a plausible temperature.")
        where = checked(place, "the place of release", LONGEST_NAME) if place.strip() else ""
        because = checked(despite, "why it is released", LONGEST_NOTE) if despite.strip() else ""
        staying = checked(kept, "the place where it is kept", LONGEST_NAME) if kept.strip() else ""

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._adult(whom, when)
            if staying:
                words = f"{pupa.label} cannot fly and is kept in {staying}."
                return Draft(words, [], [Kept(**stamp.at(when), pupa=pupa.id, place=staying)])
            if adults.cannot_fly(pupa, self._desk.settings):
                assert pupa.wings is not None
                raise Refused(
                    f"{pupa.label} is not released: its wings were judged {pupa.wings.condition}, it cannot fly. "
                    "Record where it is kept; or judge its wings again, if it flies after all."
                )
            at = when.until if when else now
            advice = adults.release_advice(pupa, at, weather._replace(newest=self.newest_c(at)), self._desk.settings)
            if advice.asks and not because:
                raise Refused(
                    f"{pupa.label} is not released yet: {advice.asks}. To release it anyway, say why "
                    "(--despite WHY); it is recorded with the release."
                )
            told = advice_words(advice, self._desk.settings.zone, now).replace("Not now:", "Against the advice:", 1)
            warnings = [told] if not advice.now else []  # it is done, so "not now" would be said too late
            free = Released(
                **stamp.at(when), pupa=pupa.id, place=where, temperature_c=weather.temperature_c, sky=weather.sky,
                despite=because,
            )  # fmt: skip
            from_there = f" from {where}" if where else ""
            return Draft(f"{pupa.label} was released{from_there}.", warnings, [free])

        return self._desk.write(when, plan)

    def newest_c(self, moment: datetime | None = None) -> Newest | None:
        """The newest temperature that was recorded by ``moment``, now where it is None; places that are kept cold, as
        pupae in their winter's rest are, tell nothing of the weather."""
        settings, now = self._desk.settings, moment or self._desk.clock()
        coldest = min(profile.cold_below_c for profile in settings.species.values())
        known = conditions(self._desk, now, since=now - timedelta(days=1)).temperatures
        usual = {name: settings.place(name).temperature_c for name in known}
        asked = {name: told for name, told in known.items() if (kept := usual[name]) is None or kept >= coldest}
        return newest(asked, now, settings.zone)

    # -- what the journal says of marks

    def marks_of_season(self, moment: datetime) -> list[Marked]:
        """The marks put on in the season of that instant and not taken back, also those of butterflies long gone."""
        of = adults.season(moment, self._desk.settings)
        marks = [entry for entry in self._desk.written("marked") if isinstance(entry, Marked)]
        return [mark for mark in marks if adults.season(mark.happened, self._desk.settings) == of]

    def unreleased(self, moment: datetime | None = None) -> list[Pupa]:
        """The butterflies that emerged so long ago that the round knows them no more, and of which nobody recorded an
        end; as known at ``moment``, now where it is None. The newest comes first."""
        now, known = moment or self._desk.clock(), self._desk.state_at(moment).pupae
        told = folded(self._desk.journal.read_unreleased(now - REMEMBERED, moment), moment)
        older = [pupa for pupa in told.pupae.values() if pupa.is_adult and pupa.id not in known]
        return sorted(older, key=lambda pupa: (pupa.entries[-1].happened, pupa.id), reverse=True)

    def proposed_mark(self) -> str:
        """The next code of this season's series, "" where there is none."""
        return adults.next_code(self.marks_of_season(self._desk.clock()), self._desk.settings)

    # -- what an act needs to know

    def _adult(self, whom: Whom, when: Span | None) -> Pupa:
        """The adult of that label, in care at that time."""
        pupa = self._desk.pupa(whom)
        if pupa.emerged is None:
            raise NotUnderstood(f"{pupa.label} has not emerged yet; record that first.")
        ended = pupa.lost or pupa.released or pupa.died
        if ended is not None and (when is None or when.until >= ended.happened):
            told = shown_time(ended.happened, self._desk.settings.zone, self._desk.clock())
            raise NotUnderstood(f"{pupa.label} is no longer in your care: {kind_of(ended)} {told}.")
        if when is not None and when.until < pupa.emerged.earliest:
            raise NotUnderstood(f"{pupa.label} had not emerged then; give a later time.")
        return pupa

    def _check_mark(self, pupa: Pupa, mark: str, used: list[Marked], at: datetime, now: datetime) -> None:
        if not adults.fits(mark, self._desk.settings):
            pattern = self._desk.settings.keeper.marks.pattern
            raise NotUnderstood(f"The mark {quoted(mark)} does not fit your pattern {pattern} (keeper.toml, marks).")
        from_then = adults.clocks(pupa, self._desk.settings).mark_from
        if at < from_then:
            told = shown_time(from_then, self._desk.settings.zone, now)
            raise Refused(
                f"{pupa.label} must not be marked yet: its wings are still hardening (out for at least "
                f"{adults.age_hours(pupa, at)[0]:.1f} h). "
                f"It may be marked from {told}.",
                from_then,
            )
        same = next((entry for entry in used if adults.same_code(entry.code) == adults.same_code(mark)), None)
        if same is not None:
            holder = self._desk.state.pupae.get(same.pupa)
            name = f" by {holder.label}" if holder else ""
            told = shown_time(same.happened, self._desk.settings.zone, now)
            raise Refused(f"The mark {mark} was used this season{name}, {told}; take another one.")
