"""A goal: a share of cases that must be right."""


class Share:
    """`least` of all cases; those that are wrong are kept to be looked at."""

    def __init__(self, what, least):
        self.what, self.least = what, least
        self.total = self.good = 0
        self.wrong = []

    def add(self, good, detail=""):
        self.total += 1
        self.good += bool(good)
        if not good:
            self.wrong.append(detail)

    @property
    def value(self):
        return self.good / self.total if self.total else None

    @property
    def met(self):
        return self.total > 0 and self.value >= self.least

    def row(self):
        got = f"{100 * self.value:.1f} % of {self.total}" if self.total else "no case"
        return self.what, f"{'all' if self.least == 1 else f'>= {100 * self.least:g} %'}", got, "met" if self.met else "MISSED"


class Most(Share):
    """At most `most` of all cases: for false alarms. add(True) is one."""

    def __init__(self, what, most):
        super().__init__(what, 0)
        self.most = most

    def add(self, alarm, detail=""):
        self.total += 1
        self.good += bool(alarm)
        if alarm:
            self.wrong.append(detail)

    @property
    def met(self):
        return self.total > 0 and self.value <= self.most

    def row(self):
        what, _, got, _ = super().row()
        return what, f"<= {100 * self.most:g} %", got, "met" if self.met else "MISSED"
