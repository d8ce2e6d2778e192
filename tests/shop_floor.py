"""The shop floor as an independent model in SimPy of what plans, orders and runs with failures mean.

It shares with the library only the steps themselves (hours, levels, yields) and the foreman's rule in words: load the
machines first, then help the oldest batch; bench work may be laid down, what loads a machine or is done in one go may
not; what is hot is taken over at once. Pieces are objects on trays, batches are processes, the clock is the event
queue's, days are stepped through one by one, money is counted by hand.
"""

import datetime as dt
import math
import random
from itertools import count

import simpy

from pourprint.plans.steps import JOB

DAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
TINY = 1e-9


class Diary:
    """Working hours, looked up day by day."""

    def __init__(self, hours, first_day):
        self.hours, self.first_day = hours, first_day

    def day(self, number):
        """(opening, closing) of a day, or None."""
        date = self.first_day + dt.timedelta(days=number)
        if DAYS[date.weekday()] not in self.hours.days or date in self.hours.holidays:
            return None
        return 24 * number + self.hours.start_h, 24 * number + self.hours.end_h

    def open_stretches(self, now):
        for number in count(int(now // 24)):
            if (span := self.day(number)) and span[1] > now + TINY:
                yield max(now, span[0]), span[1]

    def opens(self, now):
        return next(self.open_stretches(now))[0]

    def done(self, now, work):
        """When work is done that sleeps through closed hours."""
        for begin, closing in self.open_stretches(now):
            if work <= closing - begin + TINY:
                return begin + work
            work -= closing - begin

    def spent(self, since, now):
        """Hours worked from one time to another."""
        total = 0.0
        for begin, closing in self.open_stretches(since):
            if begin >= now:
                return total
            total += min(closing, now) - begin

    def in_one_go(self, now, work):
        """First moment for work that the rest of a day must hold, or that begins with a day that is too short."""
        for begin, closing in self.open_stretches(now):
            if begin + work <= closing + TINY or begin == self.day(int(begin // 24))[0]:
                return begin


class Ask:
    """A batch asks for hands: for how long, by whom, and what else must be free."""

    def __init__(self, env, rank, who, hours, machines=(), loads=False, whole=False, links=()):
        self.rank, self.who, self.hours, self.machines = rank, who, hours, machines
        self.loads, self.whole, self.links = loads, whole, links
        self.bench = not (loads or whole or links)
        self.answered, self.begun, self.working_since, self.version = env.event(), False, None, 0


class Foreman:
    """Gives out the work, whenever something has changed."""

    def __init__(self, env, diary, people, machines):
        self.env, self.diary, self.people, self.free = env, diary, people, machines
        self.asks, self.booked, self.called = [], [], False

    def call(self):
        """Look round once all that happens at this moment has happened."""
        if not self.called:
            self.called = True
            look = simpy.Event(self.env)
            look.callbacks.append(lambda _: self.look_round())
            look._ok, look._value = True, None
            self.env.schedule(look, priority=9)

    def call_at(self, moment):
        self.env.timeout(moment - self.env.now).callbacks.append(lambda _: self.call())

    def ask(self, ask):
        self.asks.append(ask)
        self.call()
        return ask.answered

    def give_back(self, machine):
        if machine:
            self.free[machine] += 1
            self.call()

    def look_round(self):
        self.called, now = False, self.env.now
        self.booked = [b for b in self.booked if b[2] > now + TINY]
        self.asks.sort(key=lambda ask: ask.rank)
        for ask in [a for a in self.asks if a.loads]:
            self.start(ask)
        hands = {
            who: n - sum(b[0] == who and b[1] <= now + TINY for b in self.booked) for who, n in self.people.items()
        }
        for ask in [a for a in self.asks if not a.loads]:
            free = hands[ask.who] > 0
            if free and (ask.bench or self.start(ask)):
                hands[ask.who] -= bool(not ask.bench or self.take_up(ask))
            elif not free and ask.working_since is not None:
                left = ask.hours - self.diary.spent(ask.working_since, now)
                if left > TINY:  # what ends at this moment is not laid down
                    ask.hours, ask.working_since, ask.version = left, None, ask.version + 1

    def takes(self, ask):
        if any(self.free[m] < 1 for m in ask.machines):
            return False
        for m in ask.machines:
            self.free[m] -= 1
        return True

    def take_up(self, ask):
        now = self.env.now
        if not ask.begun:
            if (opens := self.diary.opens(now)) > now + TINY:
                self.call_at(opens)
                return False
            if not self.takes(ask):
                return False
            ask.begun = True
        if ask.working_since is None:
            ask.working_since, mine = now, ask.version
            done = self.env.timeout(self.diary.done(now, ask.hours) - now)
            done.callbacks.append(lambda _: self.finished(ask, mine))
        return True

    def finished(self, ask, version):
        if version == ask.version:
            self.asks.remove(ask)
            ask.answered.succeed([])
            self.call()

    def start(self, ask):
        """Begin what is not laid down for others, if all that follows hot can follow."""
        now = self.env.now
        if any(self.free[m] < 1 for m in ask.machines):
            return False
        begin, hands = self.earliest(ask)
        if begin > now + TINY:
            self.call_at(begin)
            return False
        self.takes(ask)
        self.asks.remove(ask)
        self.booked += hands
        end = hands[0][2] if ask.hours > 0 else now
        self.env.timeout(end - now).callbacks.append(lambda _: (ask.answered.succeed(hands), self.call()))
        return True

    def earliest(self, ask):
        whole = ask.whole or bool(ask.links)
        begin = self.gap(ask.who, self.env.now, ask.hours, whole)
        end = begin + ask.hours if whole else self.diary.done(begin, ask.hours) if ask.hours else begin
        hands = [(ask.who, begin, end)]
        for alone, who, hours in ask.links:  # a machine's own clock lets each begin when somebody is there
            begun = self.gap(who, end + alone, hours, True)
            end = begun + hours
            hands.append((who, begun, end))
        return begin, hands

    def gap(self, who, now, hours, whole):
        """When somebody is first free for so long."""
        while hours > 0:
            now = self.diary.in_one_go(now, hours) if whole else self.diary.opens(now)
            end = now + hours if whole else self.diary.done(now, hours)
            others = [b for b in self.booked if b[0] == who and b[1] < end - TINY and now < b[2] - TINY]
            if len(others) < self.people[who]:
                break
            now = min(b[2] for b in others)
        return now


class Floor:
    """One or more jobs on one floor; `run()` gives (cost, days of each). `seed` None: nothing fails or varies."""

    def __init__(self, *plans, seed=None, time_spread=0.0, people=1):
        self.plans, self.random, self.spread, self.cost = plans, random.Random(seed), time_spread, 0.0
        self.fails, hours, start = seed is not None, plans[0].rates.hours, plans[0].job.start
        self.begin = start.hour + start.minute / 60 if start else hours.start_h
        self.env = simpy.Environment(initial_time=self.begin)
        steps = [step for plan in plans for step in plan.steps]
        self.foreman = Foreman(
            self.env,
            Diary(hours, start.date() if start else dt.date(2001, 1, 1)),
            {step.who: people for step in steps},
            {step.machine: 1 for step in steps if step.machine},
        )
        self.ends = [0.0] * len(plans)

    def run(self):
        for number, plan in enumerate(self.plans):
            self.env.process(self.job(number, plan))
        self.env.run()
        days = [(end - self.begin) / 24 for end in self.ends]
        return self.cost, days[0] if len(days) == 1 else days

    def job(self, number, plan):
        for step in plan.steps:
            for work in step.work:
                if work.level is JOB:
                    yield from self.visit(plan, (number, 0), [(step, [work])], 1, alone=True)
        size, left, batches = plan.job.batch_size, plan.job.quantity, []
        while left > 0:
            kits = min(size, left)
            batches.append(self.env.process(self.batch(plan, (number, len(batches) + 1), kits)))
            left -= kits
        yield self.env.all_of(batches)
        self.ends[number] = self.env.now

    def batch(self, plan, rank, kits):
        nodes = plan.job.kit.nodes
        kept = [(s, [w for w in s.work if w.level is not JOB]) for s in plan.steps]
        groups = []
        for step, works in kept:
            if works and groups and step.within_h < math.inf:
                groups[-1].append((step, works))
            elif works:
                groups.append([(step, works)])
        place = {step.name: i for i, group in enumerate(groups) for step, _ in group}
        trays = [[] for _ in groups] + [[]]
        trays[0] = list(range(kits * nodes))
        while any(trays[:-1]):
            at = next(i for i, tray in enumerate(trays) if tray)
            group, pieces, trays[at] = groups[at], trays[at], []
            in_hand, (step, _) = len(pieces) / nodes, group[-1]
            yield from self.visit(plan, rank, group, in_hand)
            for lot in self.lots(plan, step.spoils, pieces, in_hand):
                good = not self.fails or self.random.random() < step.first_pass_yield
                trays[at + 1 if good else place[step.returns_to or step.name]].extend(lot)

    def visit(self, plan, rank, group, kits, alone=False):
        """All rounds of a step, or of several that follow each other hot."""
        rounds = 1 if alone else max(1, round(float(group[0][0].rounds(kits))))
        hours = [self.takes(plan, step, works, kits, rounds) for step, works in group]
        for _ in range(rounds):
            step, _ = group[0]
            hands, run, unload, wait = hours[0]
            held = [s.machine for (s, _), h in zip(group, hours, strict=True) if s.machine and sum(h[:3]) > 0]
            links = [
                (before[1] + before[3], s.who, h[0])
                for (s, _), before, h in zip(group[1:], hours, hours[1:], strict=False)
            ]
            booked = []
            if hands > 0 or held:
                loads = bool(step.machine) and run + unload > 0
                whole = step.whole and not alone
                booked = yield self.foreman.ask(Ask(self.env, rank, step.who, hands, held, loads, whole, links))
            for i, ((step, _), (_, run, unload, wait)) in enumerate(zip(group, hours, strict=True)):
                if i:
                    self.foreman.call()  # whoever was booked lays down other work
                    yield self.env.timeout(booked[i][2] - self.env.now)  # begun when it was booked, and done
                stays = run
                if i + 1 < len(group) and run > 0:
                    stays = max(run, booked[i + 1][1] - wait - self.env.now)  # its clock starts it so late
                yield self.env.timeout(stays)
                if unload > 0:
                    ask = Ask(self.env, rank, step.who, unload, loads=bool(step.machine))
                    yield self.foreman.ask(ask)
                if i + 1 == len(
                    group
                ):  # what is hot stays in its kiln or furnace until the last hands are done with it
                    for machine in held:
                        self.foreman.give_back(machine)
                yield self.env.timeout(wait)

    def takes(self, plan, step, works, kits, rounds):
        """Hours of hands, machine, unloading and waiting in one round; everything is paid by what it takes."""
        rates, times = plan.rates, [1 if w.level is JOB else float(w.level.per_batch(kits)) for w in works]
        stretch = 1.0
        if self.spread:
            sigma = math.sqrt(math.log(1 + self.spread**2))
            stretch = self.random.lognormvariate(-(sigma**2) / 2, sigma)

        def total(amount):
            return sum(n * amount(w) for n, w in zip(times, works, strict=True))

        hands, run = stretch * total(lambda w: w.hands_on_h), total(lambda w: w.machine_h)
        cooling, unload = total(lambda w: w.cooling_h), total(lambda w: w.unload_h)
        self.cost += rates[step.who] * total(lambda w: w.people * (stretch * w.hands_on_h + w.unload_h))
        self.cost += total(lambda w: sum(amount * rates[key] for key, amount in w.materials.items()))
        if step.machine:
            # Held while it is set up, runs, cools and is emptied; it draws power while it runs.
            kwh = rates[f"power.{step.machine}"] * (run + (hands if step.attended else 0.0))
            held = hands + run + cooling + unload
            self.cost += rates[f"machine.{step.machine}"] * held + kwh * rates["energy.electricity"]
        if step.keeps:
            kept = rates[f"machine.{step.keeps}"] + rates[f"power.{step.keeps}"] * rates["energy.electricity"]
            self.cost += hands * kept
        wait = max((w.wait_h for n, w in zip(times, works, strict=True) if n), default=0.0)
        return hands / rounds, (run + cooling) / rounds, unload / rounds, wait

    def lots(self, plan, spoils, pieces, kits):
        """Pieces dealt out like cards to the lots that fail together."""
        if spoils == "part":
            return [[piece] for piece in pieces]
        if spoils == "batch":
            return [pieces]
        levels = {work.level.name: work.level for step in plan.steps for work in step.work}
        number = max(1, min(len(pieces), round(float(levels[spoils].per_batch(kits)))))
        return [pieces[i::number] for i in range(number)]
