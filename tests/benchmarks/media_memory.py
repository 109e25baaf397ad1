"""Peak memory of `lookkit apply` on a clip of 2000 frames against one of 100.

Run as `python -m tests.benchmarks.media_memory`. The ratio is to be at most 1.1.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.media.movies import RECIPE, noise, write_movie

SIZE = (640, 360)


def peak(folder: Path, frames: int) -> float:
    """Return the peak of a run in MiB."""
    source = folder / f"A{frames}.mkv"
    pictures = noise(10, *SIZE)
    write_movie(source, [pictures[n % 10] for n in range(frames)])
    script = (
        "import resource, sys\n"
        "from lookkit.cli import main\n"
        "main(sys.argv[1:])\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "apply", str(folder / "recipe.toml"), str(source),
         "--camera", "A", "--format", "mov", "--into", str(folder / "out")],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    return int(done.stdout.splitlines()[-1]) / 1024


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "recipe.toml").write_text(RECIPE)
        short, long = peak(folder, 100), peak(folder, 2000)
    print(f"100 frames {short:.0f} MiB, 2000 frames {long:.0f} MiB, ratio {long / short:.3f}")


if __name__ == "__main__":
    main()
