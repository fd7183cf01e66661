"""The floor of answers: one module a job, a question in, an answer out. Begin at session.py."""
