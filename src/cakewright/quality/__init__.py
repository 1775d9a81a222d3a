"""Is it good: charts, capability, gauges, sampling, shrink calibration, and which part is this?"""
