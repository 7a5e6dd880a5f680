"""Judging records: furnaces simulated apart from the project's own model, with the truth beside them.

Nothing here imports from ``sootline``. The physics, the control logic and the sloppiness are this
package's own, so that what is measured is not the agreement of a program with itself.
"""
