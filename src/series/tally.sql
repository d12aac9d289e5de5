-- The tally of {{ table }}, line by line as `leakdrift tally` makes it of the same rows: for {{ engine }}, with the settings
-- that it was printed with. Save what it gives as Parquet and review it like any other tally.
--
-- The table holds one test a row, in the columns that `leakdrift tally --rows` writes and `leakdrift config --columns`
-- explains, in their units and words. Where there is no such column, give NULL under its name in a view; needed are
-- tested_at (a timestamp without a zone), model, outcome, reading_ma, and source_order: a number that no two rows share,
-- in the order of the files' rows. source_file and source_sheet name the file or device that wrote the row; equal rows of
-- two files are one test.
--
-- What it cannot do:
-- - Find the smallest difference that a tester shows. It is taken from reading_step_ma: where that is blank the tally has
--   none (whoever reads it finds it from the readings), and a pass beyond its limit by any amount is set aside.
-- - Tell apart more than {{ settings }} tests of one unit by voltage and limit alone, or say in which order a unit was tested where
--   clock and row order contradict each other over more than an hour: counted in rows_not_decided.
-- - Compare serials without signs that are not seen, or name operators by codes: they go into the tally as the table
--   has them.
{% if engine == "spark" %}
-- It is long: Spark plans it many times faster after SET spark.sql.constraintPropagation.enabled = false.
{% endif %}
-- Every line says how many rows were read, and how many of them were set aside and why (rows_...).
WITH
-- What each row says: currents in picoamperes, settings in thousandths, times in seconds of the plant's own clock.
raw AS (
  SELECT
    {{ "tested_at"|ident }} AS tested_at,
{% for name in texts %}
    TRIM(COALESCE(CAST({{ name|ident }} AS {{ text }}), '')) AS {{ ("c_" ~ name)|ident }},
{% endfor %}
{% for name in words %}
    REPLACE(LOWER(TRIM(COALESCE(CAST({{ name|ident }} AS {{ text }}), ''))), '_', ' ') AS w_{{ name }},
{% endfor %}
    LOWER(TRANSLATE(COALESCE(CAST({{ "serial"|ident }} AS {{ text }}), ''), ' -–—_', '')) AS plain,
    LOWER(TRANSLATE(COALESCE(CAST({{ "model"|ident }} AS {{ text }}), ''), ' -–—_', '')) AS plain_model,
    REPLACE(TRIM(COALESCE(CAST({{ "reading_ma"|ident }} AS {{ text }}), '')), ' ', '') AS shown,
{% for (name, column, factor) in numbers %}
    CAST(ROUND(CAST({{ column|ident }} AS {{ double }}) * {{ factor }}) AS BIGINT) AS {{ name }},
{% endfor %}
    CAST({{ "humidity_pct"|ident }} AS {{ double }}) AS humidity_pct,
    CAST({{ "temperature_c"|ident }} AS {{ double }}) AS temperature_c,
    CAST({{ "source_order"|ident }} AS BIGINT) AS source_order,
    COALESCE(CAST({{ "source_part"|ident }} AS BIGINT), 0) AS source_part,
    COALESCE(CAST({{ "units_together"|ident }} AS BIGINT), 1) AS units_together
  FROM {{ table }}
),
shown AS (
  SELECT
    raw.*,
    CASE
      WHEN w_test IN ('ac withstand', 'dc withstand', 'leakage') THEN w_test
      WHEN w_test = '' THEN {{ default_test|text }}
      ELSE 'other'
    END AS test,
    CASE WHEN w_current IN ('in phase', 'resistive', 'real') THEN 'in phase' ELSE 'total' END AS {{ "current"|ident }},
    CASE WHEN w_stage LIKE 'ramp%' OR w_stage = 'rise' THEN 1 ELSE 0 END AS in_ramp,
    CASE
      WHEN shown = '' THEN 'nothing'
      WHEN SUBSTR(shown, 1, 1) = '<' THEN 'below'
      WHEN SUBSTR(shown, 1, 1) = '>' THEN 'above'
      ELSE 'value'
    END AS says,
    CAST(ROUND(CAST(NULLIF(TRANSLATE(shown, '<>', ''), '') AS {{ double }}) * 1e9) AS BIGINT) AS reading_pa,
    CASE WHEN typed_high_pa > 0 THEN typed_high_pa {{ limit_of_model("high") }}END AS high_pa,
    CASE WHEN typed_low_pa > 0 THEN typed_low_pa {{ limit_of_model("low") }}END AS low_pa,
    {{ "CAST(tested_at AS DATE)"|days }} AS calendar_day,
    CAST(EXTRACT(HOUR FROM tested_at) * 3600 + EXTRACT(MINUTE FROM tested_at) * 60
      + FLOOR(EXTRACT(SECOND FROM tested_at)) AS BIGINT) AS second_of_day,
    CASE WHEN plain = ''{% if placeholders %} OR plain IN ({{ placeholders }}){% endif %} THEN 1 ELSE 0 END AS no_serial,
    CASE WHEN {% if loads %}plain IN ({{ loads }}) OR plain_model IN ({{ loads }}){% else %}1 = 0{% endif %} THEN 1 ELSE 0 END AS is_load,
    CASE WHEN {% for word in fault_locating %}POSITION({{ word|text }} IN w_remark) > 0{% if not loop.last %} OR {% endif %}{% else %}1 = 0{% endfor %} THEN 1 ELSE 0 END AS is_marked
  FROM raw
),
given AS (
  SELECT
    shown.*,
    CAST(calendar_day AS BIGINT) * 86400 + second_of_day AS seconds,
    calendar_day - CASE WHEN second_of_day < {{ day_starts_s }} THEN 1 ELSE 0 END AS production_day,
    CASE WHEN test = 'dc withstand' THEN NULL ELSE typed_frequency_mhz END AS frequency_mhz,
    CASE
      WHEN w_outcome IN ('pass', 'over limit', 'under limit', 'breakdown', 'arc', 'not completed', 'failed, class not known')
        THEN w_outcome
      WHEN w_outcome <> 'fail' THEN NULL
      WHEN test <> 'other' AND says IN ('value', 'above') AND reading_pa >= high_pa THEN 'over limit'
      WHEN test <> 'other' AND says = 'value' AND reading_pa < low_pa THEN 'under limit'
      WHEN test <> 'other' AND high_pa IS NOT NULL THEN 'breakdown'
      ELSE 'failed, class not known'
    END AS outcome
  FROM shown
),
weighed AS (
  SELECT
    given.*,
    CASE
      WHEN tested_at IS NULL OR c_model = '' OR outcome IS NULL THEN 0
      WHEN test <> 'other' AND (reading_pa < 0 OR (outcome = 'pass' AND says = 'nothing')) THEN 0
      ELSE 1
    END AS is_readable
  FROM given
),
-- Where the rows name one plant alone, a blank is that plant; else each plant has models and stations of its own.
plants AS (
  SELECT MIN(NULLIF(c_plant, '')) AS one_plant, MAX(NULLIF(c_plant, '')) AS other_plant FROM weighed WHERE is_readable = 1
),
readable AS (
  SELECT weighed.*, CASE WHEN c_plant = '' AND one_plant = other_plant THEN one_plant ELSE c_plant END AS plant
  FROM weighed CROSS JOIN plants
  WHERE is_readable = 1
),
-- The plant as a whole: the day in the middle of all tests, days with tests, stations.
days AS (SELECT calendar_day, COUNT(*) AS tests FROM readable GROUP BY calendar_day),
days_so_far AS (
  SELECT calendar_day, SUM(tests) OVER (ORDER BY calendar_day) AS so_far, SUM(tests) OVER () AS of_all FROM days
),
plant_days AS (
  SELECT MIN(CASE WHEN so_far * 2 >= of_all THEN calendar_day END) AS middle_day, COUNT(*) AS all_days FROM days_so_far
),
stations AS (SELECT COUNT(DISTINCT CONCAT(c_station, ' @ ', plant)) AS all_stations FROM readable),
unread AS (SELECT SUM(1 - is_readable) AS unreadable FROM weighed),
air AS (
  SELECT plant, production_day, AVG(humidity_pct) AS humidity_pct, AVG(temperature_c) AS temperature_c
  FROM readable GROUP BY plant, production_day
),
-- Clocks: rows that lie more than a day before what came before them in their file, until the clock is right again.
clock_1 AS (
  SELECT
    readable.*,
    MAX(seconds) OVER (PARTITION BY c_source_file, c_source_sheet ORDER BY source_order
      ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS latest,
    LAG(seconds) OVER (PARTITION BY c_source_file, c_source_sheet ORDER BY source_order) AS row_before,
    MIN(NULLIF(c_test_point, '')) OVER (PARTITION BY c_model, plant, test) AS one_point,
    MAX(NULLIF(c_test_point, '')) OVER (PARTITION BY c_model, plant, test) AS other_point,
    MIN(NULLIF(c_step, '')) OVER (PARTITION BY c_model, plant, test) AS one_step,
    MAX(NULLIF(c_step, '')) OVER (PARTITION BY c_model, plant, test) AS other_step,
    CASE WHEN test <> 'other' AND applied_mv IS NULL THEN measured_mv END AS only_measured_mv
  FROM readable
),
clock_2 AS (
  SELECT
    clock_1.*,
    SUM(CASE WHEN latest IS NULL OR seconds >= latest THEN 1 ELSE 0 END)
      OVER (PARTITION BY c_source_file, c_source_sheet ORDER BY source_order ROWS UNBOUNDED PRECEDING) AS stretch,
    SUM(CASE WHEN seconds > row_before THEN 1 ELSE 0 END) OVER (PARTITION BY c_source_file, c_source_sheet) AS ups,
    SUM(CASE WHEN seconds < row_before THEN 1 ELSE 0 END) OVER (PARTITION BY c_source_file, c_source_sheet) AS downs,
    COUNT(*) OVER (PARTITION BY c_source_file, c_source_sheet) AS rows_of_source,
    ROW_NUMBER() OVER (PARTITION BY c_model, c_station, plant, only_measured_mv IS NULL ORDER BY only_measured_mv) AS measured_no,
    COUNT(*) OVER (PARTITION BY c_model, c_station, plant, only_measured_mv IS NULL) AS measured_count
  FROM clock_1
),
clock_3 AS (
  SELECT
    clock_2.*,
    SUM(CASE WHEN seconds < latest - 86400 THEN 1 ELSE 0 END)
      OVER (PARTITION BY c_source_file, c_source_sheet, stretch ORDER BY source_order ROWS UNBOUNDED PRECEDING) AS late,
    MAX(stretch) OVER (PARTITION BY c_source_file, c_source_sheet) AS last_stretch,
    MAX(CASE WHEN only_measured_mv IS NOT NULL AND measured_no = FLOOR(measured_count / 2.0) + 1 THEN only_measured_mv END)
      OVER (PARTITION BY c_model, c_station, plant) AS median_mv
  FROM clock_2
),
clock_4 AS (
  SELECT
    clock_3.*,
    CASE WHEN downs * 20 <= ups THEN 1 ELSE 0 END AS ascending,
    SUM(CASE WHEN late = 1 AND seconds < latest - 86400 THEN 1 ELSE 0 END)
      OVER (PARTITION BY c_source_file, c_source_sheet) AS jumps,
    SUM(CASE WHEN late > 0 AND stretch < last_stretch THEN 1 ELSE 0 END)
      OVER (PARTITION BY c_source_file, c_source_sheet) AS rows_of_jumps,
    CASE WHEN c_test_point = '' AND one_point = other_point THEN one_point ELSE c_test_point END AS point,
    CASE WHEN c_step = '' AND one_step = other_step THEN one_step ELSE c_step END AS place,
    COALESCE(applied_mv, CASE WHEN test <> 'other' AND median_mv > 0 THEN CAST(ROUND(
      ROUND(median_mv / 1000.0 / POWER(10, FLOOR(LOG10(CAST(median_mv AS {{ double }}) / 1000.0)) - 1))
      * POWER(10, FLOOR(LOG10(CAST(median_mv AS {{ double }}) / 1000.0)) - 1) * 1000.0) AS BIGINT) END) AS volts_mv
  FROM clock_3
),
-- What a row says by itself.
told AS (
  SELECT
    clock_4.*,
    CASE
      WHEN test = 'other' THEN 'other kind of test'
      WHEN is_load = 1 THEN 'check load'
      WHEN calendar_day < middle_day - {{ believable_days }} OR calendar_day > middle_day + {{ believable_days }}
        THEN 'clock not believable'
      WHEN late > 0 AND stretch < last_stretch AND ascending = 1 AND jumps <= 3 AND rows_of_jumps * 5 <= rows_of_source
        THEN 'clock not believable'
      WHEN outcome = 'pass' AND says <> 'below'
        AND (reading_pa > high_pa + COALESCE(step_pa, 0) OR reading_pa < low_pa - COALESCE(step_pa, 0))
        THEN 'contradicted by its reading'
    END AS aside_1,
    CONCAT(COALESCE(CAST(volts_mv AS {{ text }}), '-'), ' ', COALESCE(CAST(frequency_mhz AS {{ text }}), '-'), ' ',
      COALESCE(CAST(CASE WHEN test = 'dc withstand' THEN dwell_ms END AS {{ text }}), '-'), ' ',
      CAST(units_together AS {{ text }})) AS conditions,
    all_days, all_stations, unreadable
  FROM clock_4 CROSS JOIN plant_days CROSS JOIN stations CROSS JOIN unread
),
-- Serials on very many days name no unit; those at every station on most days are check loads.
seen AS (
  SELECT
    told.*,
    DENSE_RANK() OVER (PARTITION BY c_model, plain, aside_1 IS NULL ORDER BY calendar_day) AS day_no,
    DENSE_RANK() OVER (PARTITION BY c_model, plain, aside_1 IS NULL ORDER BY c_station, plant) AS station_no
  FROM told
),
seen_in_all AS (
  SELECT
    seen.*,
    MAX(day_no) OVER (PARTITION BY c_model, plain, aside_1 IS NULL) AS on_days,
    MAX(station_no) OVER (PARTITION BY c_model, plain, aside_1 IS NULL) AS at_stations
  FROM seen
),
named AS (
  SELECT
    seen_in_all.*,
    CASE
      WHEN aside_1 IS NULL AND no_serial = 0 AND on_days >= {{ placeholder_days }}
        AND at_stations = all_stations AND on_days * 2 > all_days THEN 'check load'
      ELSE aside_1
    END AS aside_2,
    -- Where no serial names a unit, each row is one of its own.
    CASE WHEN no_serial = 1 OR (aside_1 IS NULL AND on_days >= {{ placeholder_days }}) THEN source_order ELSE 0 END AS alone
  FROM seen_in_all
),
-- Rows that agree in everything and come from different files are one.
equal AS (
  SELECT
    named.*,
    FIRST_VALUE(c_source_file) OVER (
      PARTITION BY aside_2 IS NULL, c_model, plain, seconds, says, reading_pa, outcome, test, {{ "current"|ident }}, c_test_point,
        c_step, applied_mv, frequency_mhz, dwell_ms, ramp_ms, units_together, step_pa, high_pa, low_pa, source_part
        {%- for name in texts if name not in ["model", "test_point", "step", "source_file", "source_sheet"] %}, {{ ("c_" ~ name)|ident }}{% endfor %}

      ORDER BY source_order) AS first_file
  FROM named
),
-- Tests of one unit of the same kind, but at another voltage and under another limit, are other tests.
kind_1 AS (
  SELECT
    equal.*,
    CASE WHEN aside_2 IS NULL AND c_source_file <> first_file THEN 'repeated row' ELSE aside_2 END AS aside_3
  FROM equal
),
kind_2 AS (
  SELECT
    kind_1.*,
    ROW_NUMBER() OVER ({{ kind }} ORDER BY seconds, source_order) AS row_no,
    1 AS open_1
  FROM kind_1
),
{% for k in range(1, settings + 1) %}
setting_{{ k }}a AS (
  SELECT *, MIN(CASE WHEN open_{{ k }} = 1 THEN row_no END) OVER ({{ kind }}) AS first_{{ k }}
  FROM {% if k == 1 %}kind_2{% else %}setting_{{ k - 1 }}{% endif %}

),
setting_{{ k }}b AS (
  SELECT
    *,
    MAX(CASE WHEN row_no = first_{{ k }} THEN volts_mv END) OVER ({{ kind }}) AS volts_{{ k }},
    MAX(CASE WHEN row_no = first_{{ k }} THEN high_pa END) OVER ({{ kind }}) AS high_{{ k }}
  FROM setting_{{ k }}a
),
setting_{{ k }} AS (
  SELECT
    *,
    CASE WHEN first_{{ k }} > row_no OR first_{{ k }} IS NULL THEN 0 WHEN volts_mv <> volts_{{ k }} OR high_pa <> high_{{ k }} THEN 0 ELSE 1 END AS same_{{ k }},
    CASE WHEN first_{{ k }} > row_no OR first_{{ k }} IS NULL THEN 0 WHEN volts_mv <> volts_{{ k }} AND high_pa <> high_{{ k }} THEN 0 ELSE 1 END AS like_{{ k }},
    CASE WHEN open_{{ k }} = 1 AND volts_mv <> volts_{{ k }} AND high_pa <> high_{{ k }} THEN 1 ELSE 0 END AS open_{{ k + 1 }}
  FROM setting_{{ k }}b
),
{% endfor %}
-- The order of a unit's tests: by the clock, and within an hour by their rows where a file is in order of time.
order_1 AS (
  SELECT
    *,
    CASE
{% for k in range(1, settings + 1) %}
      WHEN same_{{ k }} = 1 THEN {{ k }}
{% endfor %}
{% for k in range(1, settings + 1) %}
      WHEN like_{{ k }} = 1 THEN {{ k }}
{% endfor %}
      ELSE 0
    END AS setting
  FROM setting_{{ settings }}
),
order_2 AS (
  SELECT
    *,
    CASE
      WHEN seconds - LAG(seconds) OVER ({{ attempts(3) }} ORDER BY seconds, source_order) <= 3700 AND ascending = 1
        AND c_source_file = LAG(c_source_file) OVER ({{ attempts(3) }} ORDER BY seconds, source_order)
        AND c_source_sheet = LAG(c_source_sheet) OVER ({{ attempts(3) }} ORDER BY seconds, source_order) THEN 0
      ELSE 1
    END AS begins,
    ROW_NUMBER() OVER ({{ attempts(3) }} ORDER BY seconds, source_order) AS by_clock
  FROM order_1
),
order_3 AS (
  SELECT *, SUM(begins) OVER ({{ attempts(3) }} ORDER BY seconds, source_order ROWS UNBOUNDED PRECEDING) AS hour
  FROM order_2
),
order_4 AS (
  SELECT
    *,
    ROW_NUMBER() OVER ({{ attempts(3) }} ORDER BY hour, source_order) AS attempt,
    MAX(seconds) OVER ({{ attempts(3) }}, hour) - MIN(seconds) OVER ({{ attempts(3) }}, hour) AS hour_lasts
  FROM order_3
),
-- Runs in which one unit is tested again and again and mostly fails are made to find a fault.
run_1 AS (
  SELECT
    *,
    CASE WHEN attempt <> by_clock AND hour_lasts > 3700 THEN 1 ELSE 0 END AS is_moved,
    CASE WHEN seconds - LAG(seconds) OVER ({{ attempts(3) }} ORDER BY attempt) <= {{ fault_run_gap_s }} THEN 0 ELSE 1 END AS begins_run
  FROM order_4
),
run_2 AS (
  SELECT *, SUM(begins_run) OVER ({{ attempts(3) }} ORDER BY attempt ROWS UNBOUNDED PRECEDING) AS run FROM run_1
),
run_3 AS (
  SELECT
    *,
    MAX(is_moved) OVER ({{ attempts(3) }}) AS any_moved,
    COUNT(*) OVER ({{ attempts(3) }}, run) AS run_tests,
    SUM(CASE WHEN outcome <> 'pass' THEN 1 ELSE 0 END) OVER ({{ attempts(3) }}, run) AS run_failed,
    MIN(attempt) OVER ({{ attempts(3) }}, run) AS run_first
  FROM run_2
),
run_4 AS (
  SELECT
    *,
    CASE WHEN aside_3 IS NULL AND (setting = 0 OR any_moved = 1) THEN 1 ELSE 0 END AS not_decided,
    CASE
      WHEN aside_3 IS NULL AND (is_marked = 1
        OR (run_tests >= {{ fault_run_tests }} AND run_failed * 2 > run_tests AND attempt > run_first)) THEN 'fault-locating run'
      ELSE aside_3
    END AS aside_4
  FROM run_3
),
-- A unit that comes back after {{ returned_after_days }} days was returned.
back_1 AS (
  SELECT
    *,
    CASE WHEN seconds - LAG(seconds) OVER ({{ attempts(4) }} ORDER BY attempt) > {{ returned_after_s }} THEN 1 ELSE 0 END AS comes_back
  FROM run_4
),
back_2 AS (
  SELECT *, MAX(comes_back) OVER ({{ attempts(4) }} ORDER BY attempt ROWS UNBOUNDED PRECEDING) AS is_back FROM back_1
),
back_3 AS (
  SELECT *, CASE WHEN aside_4 IS NULL AND is_back = 1 THEN 'returned unit' ELSE aside_4 END AS aside_5 FROM back_2
),
-- First attempts: the yield counts the first test, leakage takes the first that says something of it.
first_1 AS (
  SELECT
    *,
    MIN(attempt) OVER ({{ attempts(5) }}) AS first_test,
    MIN(CASE WHEN outcome <> 'not completed' THEN attempt END) OVER ({{ attempts(5) }}) AS first_completed,
    MIN(CASE
      WHEN outcome IN ('not completed', 'under limit') THEN NULL
      WHEN outcome = 'over limit' AND in_ramp = 1 THEN NULL
      ELSE attempt
    END) OVER ({{ attempts(5) }}) AS first_told,
    FIRST_VALUE(conditions) OVER ({{ attempts(5) }} ORDER BY attempt) AS first_conditions
  FROM back_3
),
decided AS (
  SELECT
    *,
    CASE
      WHEN aside_5 IS NOT NULL THEN aside_5
      WHEN outcome = 'not completed' THEN 'not completed'
      WHEN attempt <> first_completed THEN 'retest'
    END AS aside,
    CASE WHEN aside_5 IS NULL AND attempt = first_test THEN 1 ELSE 0 END AS counted,
    CASE
      WHEN aside_5 IS NULL AND attempt = first_told AND outcome IN ('pass', 'over limit') AND conditions = first_conditions
        THEN 1
      ELSE 0
    END AS leakage
  FROM first_1
),
-- The tally: equal first attempts, counted.
counts AS (
  SELECT
    production_day, c_model, plant, test, point, place, {{ "current"|ident }}, volts_mv, frequency_mhz,
    CASE WHEN test = 'dc withstand' THEN dwell_ms END AS dwell_ms, units_together, c_station, outcome, high_pa, low_pa,
{% for name in factors %}
    {{ ("c_" ~ name)|ident }},
{% endfor %}
    counted, leakage,
    CASE WHEN outcome <> 'over limit' AND says <> 'nothing' THEN says END AS says,
    CASE WHEN outcome <> 'over limit' AND says <> 'nothing' THEN reading_pa END AS reading_pa,
    MAX(CASE WHEN outcome <> 'over limit' AND says <> 'nothing' THEN step_pa END) AS step_pa,
    MAX(unreadable) AS unreadable,
    COUNT(*) AS tests,
    SUM(CASE WHEN aside IS NULL THEN 1 ELSE 0 END) AS used,
    SUM(not_decided) AS not_decided{% for (name, reason) in reasons %},
    SUM(CASE WHEN aside = {{ reason|text }} THEN 1 ELSE 0 END) AS {{ name }}{% endfor %}

  FROM decided
  GROUP BY
    production_day, c_model, plant, test, point, place, {{ "current"|ident }}, volts_mv, frequency_mhz,
    CASE WHEN test = 'dc withstand' THEN dwell_ms END, units_together, c_station, outcome, high_pa, low_pa,
{% for name in factors %}
    {{ ("c_" ~ name)|ident }},
{% endfor %}
    counted, leakage,
    CASE WHEN outcome <> 'over limit' AND says <> 'nothing' THEN says END,
    CASE WHEN outcome <> 'over limit' AND says <> 'nothing' THEN reading_pa END
),
totals AS (
  SELECT
    counts.*,
    SUM(tests) OVER () AS rows_told,
    SUM(used) OVER () AS rows_used,
    SUM(not_decided) OVER () AS rows_not_decided{% for (name, _) in reasons %},
    SUM({{ name }}) OVER () AS rows_{{ name }}{% endfor %}

  FROM counts
)
SELECT
  {{ "totals.production_day"|date }} AS {{ "tested_at"|ident }},
  c_model AS {{ "model"|ident }},
  totals.plant AS {{ "plant"|ident }},
  test AS {{ "test"|ident }},
  point AS {{ "test_point"|ident }},
  place AS {{ "step"|ident }},
  {{ "current"|ident }},
  CAST(volts_mv AS {{ double }}) / 1000 AS {{ "applied_v"|ident }},
  CAST(frequency_mhz AS {{ double }}) / 1000 AS {{ "frequency_hz"|ident }},
  CAST(dwell_ms AS {{ double }}) / 1000 AS {{ "dwell_s"|ident }},
  units_together AS {{ "units_together"|ident }},
  c_station AS {{ "station"|ident }},
  outcome AS {{ "outcome"|ident }},
  CASE WHEN outcome = 'over limit' AND counted = 1 AND leakage = 0 THEN 'ramp' ELSE '' END AS {{ "stage"|ident }},
  CASE WHEN counted = 0 THEN {{ leakage_alone|text }} ELSE '' END AS {{ "tally_part"|ident }},
  CASE WHEN says IS NULL THEN NULL ELSE CONCAT(
    CASE says WHEN 'below' THEN '<' WHEN 'above' THEN '>' ELSE '' END,
    CAST(CAST((reading_pa - MOD(reading_pa, 1000000000)) / 1000000000 AS BIGINT) AS {{ text }}),
    CASE WHEN MOD(reading_pa, 1000000000) = 0 THEN '' ELSE CONCAT(
      '.', TRIM(TRAILING '0' FROM LPAD(CAST(MOD(reading_pa, 1000000000) AS {{ text }}), 9, '0'))) END)
  END AS {{ "reading_ma"|ident }},
  CAST(step_pa AS {{ double }}) / 1e9 AS {{ "reading_step_ma"|ident }},
  CAST(high_pa AS {{ double }}) / 1e9 AS {{ "high_limit_ma"|ident }},
  CAST(low_pa AS {{ double }}) / 1e9 AS {{ "low_limit_ma"|ident }},
{% for name in factors %}
  {{ ("c_" ~ name)|ident }} AS {{ name|ident }},
{% endfor %}
  air.humidity_pct AS {{ "humidity_pct"|ident }},
  air.temperature_c AS {{ "temperature_c"|ident }},
  tests AS {{ "count"|ident }},
  CAST(rows_told + unreadable AS BIGINT) AS rows_read,
  CAST(rows_used AS BIGINT) AS rows_used,
{% for (name, _) in reasons %}
  CAST(rows_{{ name }} AS BIGINT) AS rows_{{ name }},
{% endfor %}
  CAST(unreadable AS BIGINT) AS rows_unreadable,
  CAST(rows_not_decided AS BIGINT) AS rows_not_decided
FROM totals
LEFT JOIN air ON air.production_day = totals.production_day AND air.plant = totals.plant
WHERE counted = 1 OR leakage = 1
