"""The series colour bible: the series, its people and its bible."""

import os

# Web workers, task workers and a test's servers are more processes than cores: linear algebra that takes every core
# for itself in each of them waits for the others (a chart's scan was read in 12 s of processor instead of 2 beside a
# busy site). Said before numpy is loaded, and handed on to whatever a process starts.
for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
    os.environ.setdefault(variable, "1")
