"""The end of a job: its parts closed, the pump tested and shipped, or opened again, or the job given up."""
