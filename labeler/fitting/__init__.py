"""Fit: does the text of a marker read on its place after shrinking, and how is it set?"""
