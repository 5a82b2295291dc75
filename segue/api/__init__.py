"""What `import segue` offers to a script: the stages, the main job, the set and the catalogue.

Frozen dataclasses and arrays come out; what a person can mend is a `SegueError`. Every
function keeps to one process unless it is told otherwise: a script that asks for more has
its work under ``if __name__ == "__main__":``, for processes may start it anew.
"""
