"""Answers: the text and the JSON of what a person or a program asks."""
