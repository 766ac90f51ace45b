"""The record of an application: who put what where, when, and how much of it, with its raw data."""
