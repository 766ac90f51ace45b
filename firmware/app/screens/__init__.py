"""The screens of the operator interface: what each shows, and what the keys do there."""
