"""Numbers for a watcher, in the text format of OpenMetrics 1.0 (its rules: TYPE lines, counters end in _total, EOF)."""


def test_answers_are_counted(client):
    """Two pages and one that is not there show up by status; buckets rise; the text ends with EOF."""
    client.get("/plans")
    client.get("/nothing")
    answer = client.get("/metrics")
    assert answer.headers["content-type"].startswith("application/openmetrics-text")
    rows = answer.text.splitlines()
    assert rows[-1] == "# EOF"
    values = dict(row.rsplit(" ", 1) for row in rows if not row.startswith("#"))
    assert float(values['cakewright_answers_total{status="404"}']) >= 1
    assert float(values["cakewright_plans"]) == 2
    buckets = [float(v) for k, v in values.items() if "_bucket" in k]
    assert buckets == sorted(buckets)
    assert float(values["cakewright_answer_seconds_count"]) == buckets[-1]
