WITH flagged AS (
  SELECT engine, valve, feature, "date" AS read_on, "hours" AS meter, "value" AS reading, NULLIF("group", '') AS kind,
    CASE WHEN event IS NULL OR event IN ('', 'inspect', 'meter') THEN 0 ELSE 1 END AS begins,
    CASE WHEN event = 'meter' OR event LIKE '%+meter' OR event LIKE 'meter+%' THEN 1 ELSE 0 END AS changed
  FROM inspections
), numbered AS (
  SELECT engine, valve, feature, meter, reading, kind,
    SUM(begins) OVER (PARTITION BY engine, valve, feature ORDER BY read_on, changed, meter, begins ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
      - FIRST_VALUE(begins) OVER (PARTITION BY engine, valve, feature ORDER BY read_on, changed, meter, begins ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
      + 1 AS segment,
    SUM(changed) OVER (PARTITION BY engine ORDER BY read_on) AS on_meter
  FROM flagged
), placed AS (
  SELECT engine, valve, feature, segment, kind, meter, on_meter, reading,
    MIN(meter) OVER (PARTITION BY engine, valve, feature, segment) AS start_hours,
    AVG(meter) OVER (PARTITION BY engine, valve, feature, segment) AS mean_meter,
    AVG(reading) OVER (PARTITION BY engine, valve, feature, segment) AS mean_reading
  FROM numbered
)
SELECT engine, valve, feature, MAX(kind) AS "group", segment,
  CASE WHEN MIN(on_meter) = MAX(on_meter) THEN MIN(meter) END AS start_hours, MAX(meter) AS last_hours, COUNT(*) AS readings,
  AVG(meter - start_hours) AS mean_hours, AVG(reading) AS mean_value,
  SUM((meter - mean_meter) * (meter - mean_meter)) AS hours_squares,
  SUM((meter - mean_meter) * (reading - mean_reading)) AS products,
  SUM((reading - mean_reading) * (reading - mean_reading)) AS value_squares
FROM placed
GROUP BY engine, valve, feature, segment
