"""What would run in the cabinet: the control logic, and nothing of the machine it controls."""
