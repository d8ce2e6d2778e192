"""A batch on the shop floor, piece by piece, as an independent model in SimPy of what a plan with failures means.

It shares with the library only the steps themselves (hours, levels, yields): pieces are objects on trays, people and
machines are resources, the clock is the event queue's, closed hours are slept through, money is counted by hand.
"""

import datetime as dt
import math
import random

import simpy

from pourprint.plans.steps import JOB


class Floor:
    """One job of one batch on its own floor; `run()` gives (cost, days)."""

    def __init__(self, plan, seed, time_spread=0.0, monday=dt.date(2001, 1, 1)):
        self.plan, self.random, self.monday, self.spread = plan, random.Random(seed), monday, time_spread
        self.hours, self.cost = plan.rates.hours, 0.0
        self.env = simpy.Environment(initial_time=self.hours.start_h)
        names = {step.who for step in plan.steps} | {step.machine for step in plan.steps}
        self.resources = {name: simpy.Resource(self.env) for name in names if name}
        self.levels = {work.level.name: work.level for step in plan.steps for work in step.work}

    def run(self):
        self.env.process(self.job())
        self.env.run()
        return self.cost, (self.end - self.hours.start_h) / 24

    def is_open(self, day):
        date = self.monday + dt.timedelta(days=day)
        return ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"][date.weekday()] in self.hours.days

    def work(self, left):
        """Hands-on work, slept over whenever the shop is closed."""
        while left > 1e-12:
            day, clock = divmod(self.env.now, 24)
            if not self.is_open(int(day)) or clock >= self.hours.end_h - 1e-12:
                yield self.env.timeout(24 - clock + self.hours.start_h)
            elif clock < self.hours.start_h:
                yield self.env.timeout(self.hours.start_h - clock)
            else:
                piece = min(left, self.hours.end_h - clock)
                left -= piece
                yield self.env.timeout(piece)

    def wait_for_a_day_that_holds(self, hours):
        """Work that is not left for the night is not begun in the rest of a day that is too short for it."""
        clock = self.env.now % 24
        if hours > 1e-12 and self.hours.start_h < clock < self.hours.end_h < clock + hours - 1e-9:
            yield self.env.timeout(self.hours.end_h - clock)

    def visit(self, step, works, kits, rounds):
        """One visit of a step: in equal rounds hands, machine, waiting; everything paid by what it takes."""
        rates, times = self.plan.rates, [1 if w.level is JOB else float(w.level.per_batch(kits)) for w in works]
        stretch = 1.0
        if self.spread:
            sigma = math.sqrt(math.log(1 + self.spread**2))
            stretch = self.random.lognormvariate(-(sigma**2) / 2, sigma)
        hands = stretch * sum(n * w.hands_on_h for n, w in zip(times, works, strict=True))
        machine = sum(n * w.machine_h for n, w in zip(times, works, strict=True))
        wait = max((w.wait_h for n, w in zip(times, works, strict=True) if n), default=0.0)
        paid = stretch * sum(n * w.people * w.hands_on_h for n, w in zip(times, works, strict=True))
        self.cost += paid * rates[step.who]
        for n, w in zip(times, works, strict=True):
            self.cost += sum(n * amount * rates[key] for key, amount in w.materials.items())
        if step.machine:
            # Held while it is set up, runs, cools and is emptied; it draws power while it runs.
            other = sum(n * (w.cooling_h + w.unload_h) for n, w in zip(times, works, strict=True))
            kwh = rates[f"power.{step.machine}"] * (machine + (hands if step.attended else 0.0))
            self.cost += rates[f"machine.{step.machine}"] * (hands + machine + other)
            self.cost += kwh * rates["energy.electricity"]
            machine += other
        for _ in range(rounds):
            with self.resources[step.who].request() as person:
                yield person
                if step.whole:
                    yield from self.wait_for_a_day_that_holds(hands / rounds)
                yield from self.work(hands / rounds)
            if step.machine:
                with self.resources[step.machine].request() as taken:
                    yield taken
                    yield self.env.timeout(machine / rounds)
            else:
                yield self.env.timeout(machine / rounds)
            yield self.env.timeout(wait)

    def job(self):
        nodes = self.plan.job.kit.nodes
        for step in self.plan.steps:
            for work in step.work:
                if work.level is JOB:
                    yield from self.visit(step, [work], 1, 1)
        made = [step for step in self.plan.steps if any(work.level is not JOB for work in step.work)]
        place = {step.name: i for i, step in enumerate(made)}
        trays = [[] for _ in made] + [[]]
        trays[0] = list(range(self.plan.job.quantity * nodes))
        while any(trays[:-1]):
            at = next(i for i, tray in enumerate(trays) if tray)
            step, pieces, trays[at] = made[at], trays[at], []
            kits = len(pieces) / nodes
            works = [work for work in step.work if work.level is not JOB]
            yield from self.visit(step, works, kits, max(1, round(float(step.rounds(kits)))))
            for lot in self.lots(step.spoils, pieces, kits):
                good = self.random.random() < step.first_pass_yield
                trays[at + 1 if good else place[step.returns_to or step.name]].extend(lot)
        self.end = self.env.now

    def lots(self, spoils, pieces, kits):
        """Pieces dealt out like cards to the lots that fail together."""
        if spoils == "part":
            return [[piece] for piece in pieces]
        if spoils == "batch":
            return [pieces]
        count = max(1, min(len(pieces), round(float(self.levels[spoils].per_batch(kits)))))
        return [pieces[i::count] for i in range(count)]
