"""An exercise as a learner has it open: brief, bench, questions, hints and the verdict in words."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, ClassVar

import ipywidgets

from gainlib.benches.bench_panel import Bench
from gainlib.benches.candidates import Candidates
from gainlib.benches.coming_back import left_on, stand_as_left
from gainlib.benches.controls import Control
from gainlib.benches.events import Event
from gainlib.benches.inputs import question_input
from gainlib.benches.ladder_run import LadderRun
from gainlib.benches.listening_trials import LadderPanel
from gainlib.benches.panel import Panel, ShownByPanel
from gainlib.errors import GainError, suggest
from gainlib.exercises import ControlSpec, Exercise, Hint, Variant, Verdict, author_answer, check, figures_of
from gainlib.exercises.answers import read_answer
from gainlib.exercises.ladder import ladder_of
from gainlib.exercises.pictures import aims_of, view_for
from gainlib.learners.enrolment import brought_up_to_date, find_exercise, own_variant
from gainlib.learners.progress import Progress
from gainlib.text import counted, listed, signed
from gainlib.views import Advice, View
from gainlib.widgets.answer_panel import AnswerPanel
from gainlib.widgets.as_left import as_left
from gainlib.widgets.brief import BriefText
from gainlib.widgets.recorder import Recorder

__all__ = ["ExercisePanel", "OpenExercise", "exercise"]


class CheckedBench(Bench):
    """A bench whose learner is being checked: what is copied from it tells the controls, and not what was planted."""

    copies_session: ClassVar[bool] = False


class LookingBench(CheckedBench):
    """A bench to find something out on: the sentence on top does not say what the exercise asks."""

    @property
    def advice(self) -> Advice:
        """Where the answer goes, whatever the signal does."""
        return Advice(f"{'Look and listen' if self.views else 'Listen'}, then answer below.")


class TakeBench(CheckedBench):
    """A bench with the learner's own take, which they look at and listen to before it is checked."""

    @property
    def advice(self) -> Advice:
        """What comes next, whatever the take is."""
        return Advice("This is your take. Look and listen, then check it below.")


class ExercisePanel(Panel):
    """The widgets of one exercise: brief, bench or candidates, questions, and where it is checked."""

    def __init__(self, exercise: OpenExercise) -> None:
        self.exercise = exercise
        super().__init__([exercise.on_check(self._follow), exercise.on_reply(self._follow_reply)])
        if (recorder := exercise.recorder) is not None:
            recorder.observe(lambda _: self._taken(), "arrived")
            self._follows.append(lambda: recorder.unobserve_all("arrived"))
        elif exercise.bench is not None:
            self._follows.append(exercise.bench.on_move(lambda _: self._changed()))
        self.brief = exercise.brief_text()
        self.answer = AnswerPanel()
        self.answer.on_msg(self._asked)
        self.answer.solution = lambda: exercise.solution
        stand, channel = self._standing()
        self.questions = {each.name: question_input(each, channel) for each in exercise.variant.questions}
        for name, widget in self.questions.items():
            widget.follow(exercise.answers[name])
            widget.observe(lambda _, name=name: self._replied(name), ["number", "text", "chosen", "order"])
        standing = [self.brief, *stand]
        if self.questions:
            standing.append(ipywidgets.VBox(list(self.questions.values())))
            standing[-1].add_class("gainlib-questions")
        self.box = ipywidgets.VBox([*standing, self.answer])
        self.box.add_class("gainlib-exercise")
        self._follow()

    def _taken(self) -> None:
        """Show the take that is there now."""
        before, self.exercise.bench = self.exercise.bench, None
        if before is not None:
            before.close()
        self.exercise.take_up()
        self.box.children = [self.brief, *self._standing()[0], self.answer]
        self._changed()

    def _standing(self) -> tuple[list[Any], str]:
        """What is looked at and listened to, if anything, and the channel on which its player tells where it is."""
        exercise = self.exercise
        if exercise.recorder is not None:
            return [exercise.recorder, *([exercise.bench.panel.box] if exercise.bench else [])], ""
        if exercise.bench is not None:
            return [exercise.bench.panel.box], exercise.bench.panel.player.uid
        return ([] if exercise.candidates is None else [exercise.candidates.box]), ""

    def _follow(self) -> None:
        """Show the hints that were taken and what the last check said."""
        exercise = self.exercise
        with self.answer.hold_sync():
            self.answer.hints = [each.text for each in exercise.hints]
            self.answer.offer = exercise.offer
            self.answer.saved = exercise.saved
            self.answer.stale = exercise.stale
            self.answer.missing = ""
            if (verdict := exercise.verdict) is not None:
                self.answer.verdict = {
                    "passed": verdict.passed,
                    "head": verdict.text.splitlines()[0],
                    "notes": list(verdict.notes),
                    "lines": [
                        {
                            "title": each.title,
                            "passed": each.passed,
                            "points": f"{each.points:g} of {counted(each.out_of, 'point')}",
                            "sentence": each.sentence,
                        }
                        for each in verdict.lines
                    ],
                    "slip": verdict.slip or "",
                    "told": list(exercise.told),
                    "hint": ""
                    if any(each.text in (verdict.hint or "") for each in exercise.hints)
                    else verdict.hint or "",
                }

    def _follow_reply(self, name: str) -> None:
        """Bring one question to the answer that was given."""
        if self.questions[name].value != self.exercise.answers[name]:
            self.questions[name].follow(self.exercise.answers[name])
        self._changed()

    def _replied(self, name: str) -> None:
        self.exercise.reply(name, self.questions[name].value)

    def _changed(self) -> None:
        self.answer.missing = ""
        if self.exercise.verdict is not None:
            self.answer.stale = True

    @property
    def _unread(self) -> list[str]:
        """For each control what was typed there and could not be taken, and where the control stands."""
        bench = self.exercise.bench
        if bench is None:
            return []
        return [
            f"Not read: {control.name}. {words} What is checked is {control.printed(bench.values[path])}."
            for path, control in bench.controls.items()
            if (words := bench.panel.inputs[path].unread)
        ]

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("after") != self.answer.answered:
            return  # said once more by a page that could not know that it had been heard
        # In one message: whoever reads the verdict may press the button at once, and it is heard.
        with self.answer.hold_sync():
            try:
                if content.get("kind") == "check":
                    if self.exercise.missing:
                        self.answer.missing = self.exercise.missing
                    else:
                        self.exercise.check(self._unread)
                elif content.get("kind") == "hint":
                    self.exercise.hint()
            except GainError as fault:
                self.answer.missing = f"Not checked: {fault}"
            finally:
                self.answer.answered += 1  # the page waits for it

    def _free(self) -> None:
        if self.exercise.bench is not None:
            self.exercise.bench.close()
        super()._free()


class OpenExercise(ShownByPanel[ExercisePanel | LadderPanel]):
    """An exercise that a learner has open: `answer` is what stands on it, `check()` gives the verdict and keeps it.

    `variant` has the learner's numbers, `bench` the controls (None where candidates are judged, which are in
    `candidates`, where a ladder is heard, whose trials are in `run`, and where there is nothing to move, to see or to
    hear), `recorder` where the learner's own take is the answer (None in any other kind; the bench is made of the
    take), `answers` what was answered to each question,
    `hints` those that were taken, `verdict` and `saved` what the last check said and what was kept, `note` how the
    answers came to stand there, `stale` whether the answer was another when it was checked; a function given to
    `on_check` is called after a check and after a hint, one given to `on_reply` with the name of what was answered.
    Made by `gainlib.exercise(...)`.
    """

    def __init__(self, exercise: Exercise, variant: Variant, progress: Progress, *, kept: bool, draw: int = 0) -> None:
        self.exercise, self.variant, self.progress, self.draw = exercise, variant, progress, draw
        self.candidates: Candidates | None = None
        self.bench: Bench | None = None
        self.run: LadderRun | None = None
        self.folded = False
        self.recorder: Recorder | None = None
        self.figures: dict[str, float | str] = {}
        views = [view_for(each, variant) for each in variant.views]
        if exercise.spec.ladder is not None:
            self.run = LadderRun(ladder_of(variant))
            self.run.on_trial(self._tried)
        elif exercise.kind == "record":
            prompts = [[each.seconds, each.say] for each in exercise.spec.prompts]
            self.recorder = Recorder(exercise.name, below=False, longest=prompts[-1][0], prompts=prompts)
            self.take_up()
        elif variant.candidates:
            sessions = {each.label: each.session for each in variant.candidates}
            self.candidates = Candidates(sessions, views, listen=variant.listen, matched=variant.matched)
        elif variant.controls or variant.views or exercise.spec.given.listen:
            looking = bool(variant.questions) and exercise.kind != "session"
            self.bench = (LookingBench if looking else CheckedBench)(
                variant.session,
                [_control(each) for each in variant.controls],
                _with_ride(views, variant),
                listen=variant.listen,
                title="",
                aim=aims_of(variant),
            )
        self.answers: dict[str, Any] = dict.fromkeys((each.name for each in variant.questions), None)
        self.hints: tuple[Hint, ...] = ()
        self.verdict: Verdict | None = None
        self.saved = self.note = ""
        self.stale = False
        self.on_check, self.on_reply = Event(), Event()
        self._kept = kept

    def take_up(self) -> None:
        """Make the take of the recorder the answer, and put it on the bench; nothing where there is none."""
        take = self.recorder.take if self.recorder is not None else None
        self.figures = {} if take is None else figures_of(self.variant, take)
        if take is not None:
            session = self.variant.session.replaced({each.path: 0.0 for each in self.variant.controls}).with_take(take)
            views = [view_for(each, self.variant) for each in self.variant.views]
            self.bench = TakeBench(session, [], views, listen=self.variant.listen, title=take.name)

    @property
    def answer(self) -> dict[str, Any]:
        """The settings by path and the answers by name, as a hand-in holds them; what was not answered is left out."""
        moved = {} if self.bench is None else {path: _flat(value) for path, value in self.bench.values.items()}
        moved = moved if self.run is None else self.run.answer
        return {**moved, **self.figures, **{name: value for name, value in self.answers.items() if value is not None}}

    def reply(self, name: str, value: Any) -> OpenExercise:
        """Answer a question; None takes the answer back, and a number may be typed as text.

        Raises GainError for a name that is not asked for, and for what is no answer of that kind.
        """
        if name not in self.answers:
            raise GainError(f"{name!r} is not asked here; {suggest(str(name), self.answers) if self.answers else ''}")
        form = next(each.form for each in self.variant.questions if each.name == name)
        typed = form in ("number", "seconds") and isinstance(value, str | float | int)
        if not typed and (why := self._unread(name, value)):
            raise GainError(why)
        self.answers[name] = value
        self.on_reply.tell(name)
        return self

    def come_back(self) -> None:
        """Stand as it was left, where it belongs to a learner's lesson, and keep from now on what is set and answered.

        Hints that were taken are open, and what was checked reads as it is in the learner's record. What answers
        nothing that is asked here is passed over; nothing is raised.
        """
        place = as_left("exercise", self.exercise.name, self.exercise.digest, tuple(self.variant.values.items()))
        if place is None:
            return
        left = place.found
        answers = left.get("answers")
        read, _, _ = read_answer(self.variant, answers if isinstance(answers, dict) else {})
        for name in self.answers.keys() & read.keys():
            self.answers[name] = list(read[name]) if isinstance(read[name], tuple) else read[name]
            self.note = "Your answers stand as you left them."
        if self.bench is not None and self.recorder is None:
            stand_as_left(self.bench, left)
            for event in (self.bench.on_move, self.bench.on_keep):
                event(lambda _: place.keep(self._left))
        if self.run is not None:
            with contextlib.suppress(GainError):  # a file that anybody may have changed
                self.run.begin(left.get("trials", ()))
            self.folded = not self.run.trials
            self.run.on_trial(lambda: place.keep(self._left))
            return
        attempts = self.progress.attempts_at(self.variant, self.draw)
        taken = [hints] if isinstance(hints := left.get("hints"), int) else []
        self.hints = self.variant.hints[: max([0, *taken, *(each["hints_used"] for each in attempts)])]
        if attempts:
            self._read_again(next((each for each in reversed(attempts) if each["passed"]), attempts[-1]))
        for event in (self.on_reply, self.on_check):
            event(lambda *_: place.keep(self._left))

    def _read_again(self, attempt: dict[str, Any]) -> None:
        """Say of an attempt what the record holds of it, which is no more than its points."""
        note = "You passed this earlier." if attempt["passed"] else "So read your last check; check again to read why."
        self.verdict = Verdict(attempt["passed"], attempt["points"], attempt["out_of"], (), notes=(note,))
        self.stale = self.answer != attempt["answer"]

    @property
    def _left(self) -> dict[str, Any]:
        if self.run is not None:
            return {"trials": self.run.trials} if self.run.trials and not self.run.ended else {}
        answered = {name: value for name, value in self.answers.items() if value is not None}
        moved = {} if self.bench is None or self.recorder is not None else left_on(self.bench)
        rest = {"answers": answered, "hints": len(self.hints)}
        return {**moved, **{name: each for name, each in rest.items() if each}}

    @property
    def solution(self) -> list[str]:
        """The author's answer for the numbers on this page, a line for each control and question that it changes."""
        controls = {} if self.bench is None else self.bench.controls
        questions = {each.name: each for each in self.variant.questions}
        told: list[str] = []
        if self.recorder is not None:  # the knob of the take that stands in is nobody's
            return told
        for name, value in author_answer(self.variant).items():
            if name in questions:
                told.append(f"{questions[name].title}: {_in_words(value, questions[name].unit)}")
            elif name in controls and value != self.variant.start.get(name):
                told.append(f"{controls[name].name}: {controls[name].printed(value)}")
        return told

    @property
    def missing(self) -> str:
        """What keeps a check from having anything to judge, in words; empty when there is something."""
        if self.recorder is not None and not self.figures:
            return "Nothing is checked yet: press Record first, and do what the page asks for."
        if self.mistyped:
            return self.mistyped
        if self.variant.controls or not self.answers or any(each is not None for each in self.answers.values()):
            return ""
        titles = [f"“{each.title}”" for each in self.variant.questions]
        return f"Nothing is checked yet: answer {listed(titles)} first."

    @property
    def mistyped(self) -> str:
        """The first answer that was typed and cannot be read, with what to write; empty when there is none."""
        why = next(filter(None, (self._unread(name, each) for name, each in self.answers.items())), "")
        return f"Not checked, since {why}" if why else ""

    def _unread(self, name: str, given: Any) -> str:
        """Why an answer to a question cannot be read; empty where it can, or is none."""
        why = read_answer(self.variant, {name: given})[1].get(name) if given is not None else None
        title = next(each.title for each in self.variant.questions if each.name == name)
        return f"“{title}” is {why}{'' if why.endswith('?') else '.'}" if why else ""

    def _tried(self) -> None:
        """After a trial of a ladder: judged as soon as it has ended."""
        if self.run is not None and self.run.ended:
            self.check()

    def check(self, unread: Sequence[str] = ()) -> Verdict:
        """Measure the answer as it stands; what is said and saved is in `verdict` and `saved`.

        `unread` says of controls what was typed there and could not be taken: the verdict tells it. Raises GainError
        where an answer to a question cannot be read: nothing is judged then, and nothing kept.
        """
        if self.mistyped:
            raise GainError(self.mistyped)
        answer = self.answer
        judged = check(self.variant, answer, len(self.hints))
        self.verdict, self.stale = replace(judged, notes=(*judged.notes, *unread)), False
        if self._kept:
            taken, pointed = len(self.hints), self.run is None
            self.saved = self.progress.record(
                self.variant, answer, self.verdict, taken, draw=self.draw, pointed=pointed
            )
        else:
            self.saved = "Not saved: this is another learner's variant, opened to try it."
        self.on_check.tell()
        return self.verdict

    def hint(self) -> Hint | None:
        """Take the next hint; None when there is no more, or when the exercise is passed and none is needed."""
        if not self.offer:
            return None
        taken = self.variant.hints[len(self.hints)]
        self.hints = (*self.hints, taken)
        self.on_check.tell()
        return taken

    @property
    def offer(self) -> str:
        """What the next hint costs, in words; empty when there is no more, and once the exercise is passed."""
        if len(self.hints) == len(self.variant.hints) or (self.verdict is not None and self.verdict.passed):
            return ""
        cost = self.variant.hints[len(self.hints)].cost
        return f"Show a hint (costs {counted(cost, 'point')})" if cost else "Show a hint (free)"

    @property
    def told(self) -> tuple[str, ...]:
        """What the chosen candidate was, after a miss; after a pass the verdict itself tells what each was."""
        if self.verdict is None or self.verdict.passed or not self.verdict.lines:
            return ()
        return tuple(
            f"You chose {each.label}: {each.say.removesuffix('.')}."
            for each in self.variant.candidates
            if each.say and each.label in self.answers.values()
        )

    def close(self) -> None:
        """Close the panel, if there is one, and the candidates."""
        super().close()
        if self.candidates is not None:
            self.candidates.close()

    def brief_text(self) -> BriefText:
        """The widget of what is asked, with what the learner should know of the record."""
        return BriefText(
            title=self.exercise.title,
            goal=self.exercise.goal,
            brief=self.variant.brief,
            note=" ".join(filter(None, [self.progress.note, self.note])),
        )

    def _make_panel(self) -> ExercisePanel | LadderPanel:
        if self.run is None:
            return ExercisePanel(self)
        last = [each for each in self.progress.attempts if each["exercise"] == self.exercise.name]
        return LadderPanel(self.run, self.brief_text(), lambda: self.saved, last[-1:], folded=self.folded)

    def __repr__(self) -> str:
        return f"<exercise {self.exercise.name}: {self.exercise.title}. {self.variant.brief}>"


def exercise(name: str | Path, learner: str | None = None, class_file: str | Path | None = None) -> OpenExercise:
    """An exercise with its brief, a bench, hints and a verdict; as the last line of a cell it shows itself.

    The numbers are the learner's own, drawn from the id in the progress of the current folder, or from the one that
    they have in a class; every attempt is kept in that progress. What the teacher changed is taken over first, and told
    once, where the start file lies within reach. In a lesson of a learner's folder it stands as it was left, also when
    the kernel was restarted.

    Parameters
    ----------
    name : str or Path
        Its name in the collection, such as "recording/leave-room", or in the class, where it is a teacher's own, or the
        path of a TOML file of one's own.
    learner : str, optional
        An id whose variant is shown; nothing is kept then.
    class_file : str or Path, optional
        A teacher's class file: the numbers are those that this learner has in that class.

    Returns
    -------
    OpenExercise
        `check` gives the verdict, also without a browser.

    Raises
    ------
    GainError
        For a name that is not in the collection, with the nearest that is, and for an id that is not in the class.

    Examples
    --------
    >>> opened = exercise("recording/leave-room", learner="ada")
    >>> opened.check().passed
    False
    """
    here = None if learner else brought_up_to_date()
    made = find_exercise(name)
    progress = Progress(Path("progress.json"), learner) if learner else Progress.here()
    if class_file is not None:
        if learner is None:
            raise GainError("class_file shows the numbers of one learner; give their id as well: learner=ID.")
        from gainlib.classroom.class_file import class_variant

        variant = class_variant(class_file, learner, made)
    else:
        variant = made.variant(learner) if learner else own_variant(made, progress)
    opened = OpenExercise(made, variant, progress, kept=learner is None)
    opened.folded = opened.run is not None
    if learner is None:
        opened.come_back()
        if here:
            changed = "Your teacher changed something." if here.fresh else ""
            opened.note = " ".join(filter(None, [changed, *here.news, here.told_of(made), opened.note]))
    return opened


def _control(move: ControlSpec) -> Control:
    if move.points:
        return Control(move.path, move.low, move.high)
    return Control(move.path, move.low, move.high, move.step, options=move.options or None)


def _with_ride(views: Sequence[View], variant: Variant) -> Sequence[str | View]:
    """The views of an exercise, and the picture that a ride is drawn in where one is to be drawn."""
    drawn = any(each.points for each in variant.controls)
    there = any(each.name == "ride" for each in views)
    return [*views, "ride"] if drawn and not there else views


def _in_words(value: Any, unit: str) -> str:
    """An answer to a question, as a page tells it."""
    if isinstance(value, int | float):
        return signed(value, 0 if float(value).is_integer() else 1, unit, plus=False)
    return str(value) if isinstance(value, str) else ", ".join(map(str, value))


def _flat(value: Any) -> Any:
    """A setting as JSON has it: the points of a ride as lists."""
    return [list(each) for each in value] if isinstance(value, tuple) else value
