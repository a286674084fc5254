"""What the long runs of the page share."""

from on_the_bench import bench, chromium, served, waiting  # noqa: F401  (fixtures)
