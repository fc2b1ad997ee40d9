"""The table of the proof."""


class Table:
    """Collects what the sections found and prints it."""

    def __init__(self):
        self.lines, self.failed = [], []

    def add(self, name, faults_tried, rows_offered, rows_lost, rows_doubled, other_faults):
        self.lines.append((name, faults_tried, rows_offered, rows_lost, rows_doubled, len(other_faults)))
        if rows_lost or rows_doubled or other_faults:
            self.failed += [f"{name}: {fault}" for fault in other_faults] or [f"{name}: rows lost or doubled"]
        print(f"  {name}: {faults_tried} tried, {rows_lost} rows lost, {rows_doubled} doubled, {len(other_faults)} faults", flush=True)
        for fault in other_faults[:10]:
            print(f"    {fault}", flush=True)

    def skip(self, name, why):
        self.lines.append((name, why))
        print(f"  {name}: left out, {why}", flush=True)

    def print(self):
        print(f"\n{'section':<44}{'faults tried':>13}{'rows offered':>13}{'rows lost':>10}{'rows doubled':>13}{'other faults':>13}")
        totals = [0, 0, 0, 0, 0]
        for line in self.lines:
            if len(line) == 2:
                print(f"{line[0]:<44}left out: {line[1]}")
                continue
            totals = [total + figure for total, figure in zip(totals, line[1:])]
            print(f"{line[0]:<44}" + "".join(f"{figure:>{width}}" for figure, width in zip(line[1:], (13, 13, 10, 13, 13))))
        print(f"{'all':<44}" + "".join(f"{figure:>{width}}" for figure, width in zip(totals, (13, 13, 10, 13, 13))))
        for fault in self.failed:
            print(f"FAULT {fault}")


class Tally:
    """The sums of one line of the table."""

    def __init__(self, table, name):
        self.table, self.name = table, name
        self.tried = self.offered = self.lost = self.doubled = 0
        self.faults = []

    def count(self, site, what, further=()):
        """Compares after one fault."""
        comparison = site.compare()
        self.tried += 1
        self.offered += site.rows_offered
        self.lost += comparison.lost
        self.doubled += comparison.doubled
        self.faults += [f"{what}: {fault}" for fault in [*further, *comparison.faults]]

    def close(self):
        self.table.add(self.name, self.tried, self.offered, self.lost, self.doubled, self.faults)
