"""What the air does to the meat: water activity, drying, growth, risk, salting, cure. Pure functions.

Rules for this folder: no clock, file, socket or thread; numpy is imported inside the functions that use it,
so that a board without hanging pieces never loads it. Arrays are shells × members (a row is one shell of all
members), inner shell first. What is only an estimate says so.
"""
