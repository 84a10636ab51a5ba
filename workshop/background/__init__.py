"""Tasks outside the request: started in processes of their own, and taken up again if they stopped.

processes.py runs a task in a process (`manage.py run_task`); abandoned.py notices tasks that ended before
their work did, or that nobody took, and has them taken up. Apps say there what this means for theirs.
"""
