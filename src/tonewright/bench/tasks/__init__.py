"""What the bench's workers do: one call of the library each, plain arguments and results."""


def load() -> None:
    """Load everything that a worker will need: a second's work, which the page does without."""
    from tonewright.bench.tasks import check as check
    from tonewright.bench.tasks import curve as curve
    from tonewright.bench.tasks import inks as inks
    from tonewright.bench.tasks import negative as negative
    from tonewright.bench.tasks import read as read
    from tonewright.bench.tasks import report as report
    from tonewright.bench.tasks import scanner as scanner
    from tonewright.bench.tasks import shelf as shelf
    from tonewright.bench.tasks import strip as strip
    from tonewright.bench.tasks import target as target
