"""The weld timer: plain portable Python, no hardware, no clock, nothing allocated while armed."""
