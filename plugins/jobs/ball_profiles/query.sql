-- Drag and lift of each kind of ball. Only flights whose launch and carry were measured outdoors, by players who consented.
WITH device AS (
    -- What each device measures, and how well. A quantity that is only computed gets no deviation: it is no evidence.
    SELECT
        format,
        format_version,
        max(CASE WHEN quantity = 'ball_speed_mps' AND measured THEN coalesce(standard_deviation, 0.4) END) AS ball_speed_sd_mps,
        max(CASE WHEN quantity = 'launch_elevation_deg' AND measured THEN coalesce(standard_deviation, 0.4) END) AS launch_elevation_sd_deg,
        max(CASE WHEN quantity = 'launch_azimuth_deg' AND measured THEN coalesce(standard_deviation, 0.4) END) AS launch_azimuth_sd_deg,
        max(CASE WHEN quantity = 'spin_rpm' AND measured THEN coalesce(standard_deviation, 150.0) END) AS spin_sd_rpm,
        max(CASE WHEN quantity = 'spin_tilt_deg' AND measured THEN coalesce(standard_deviation, 2.0) END) AS spin_tilt_sd_deg,
        max(CASE WHEN quantity = 'club_speed_mps' AND measured THEN coalesce(standard_deviation, 0.7) END) AS club_speed_sd_mps,
        max(CASE WHEN quantity = 'attack_deg' AND measured THEN coalesce(standard_deviation, 1.0) END) AS attack_sd_deg,
        max(CASE WHEN quantity = 'path_deg' AND measured THEN coalesce(standard_deviation, 1.0) END) AS path_sd_deg,
        max(CASE WHEN quantity = 'face_deg' AND measured THEN coalesce(standard_deviation, 1.0) END) AS face_sd_deg,
        max(CASE WHEN quantity = 'delivered_loft_deg' AND measured THEN coalesce(standard_deviation, 1.0) END) AS delivered_loft_sd_deg,
        max(CASE WHEN quantity = 'strike_toe_mm' AND measured THEN coalesce(standard_deviation, 3.0) END) AS device_strike_sd_mm,
        max(CASE WHEN quantity = 'carry_m' AND measured THEN coalesce(standard_deviation, 3.0) END) AS carry_sd_m,
        max(CASE WHEN quantity = 'lateral_m' AND measured THEN coalesce(standard_deviation, 2.0) END) AS lateral_sd_m,
        max(CASE WHEN quantity = 'face_deg' THEN face_reference END) AS face_reference
    FROM devices
    GROUP BY format, format_version
),
flights AS (
    SELECT
        shots.*,
        coalesce(shots.ball_kind, 'not told') AS ball,
        CAST(shots.local_date AS INTEGER) AS day_number,
        device.* EXCLUDE (format, format_version)
    FROM shots
    JOIN players ON players.player_id = shots.player_id AND players.site_id = shots.site_id AND players.consent
    JOIN device ON device.format = shots.format AND device.format_version = shots.format_version
    WHERE
        shots.environment = 'outdoor'
        AND shots.intent IN ('play', 'drill')
        AND concat(';', coalesce(shots.quality, ''), ';') NOT LIKE '%;excluded;%'
        AND device.carry_sd_m IS NOT NULL
        AND shots.carry_m IS NOT NULL
        AND device.ball_speed_sd_mps IS NOT NULL
        AND device.spin_sd_rpm IS NOT NULL
),
weeks AS (
    SELECT DISTINCT site_id, coalesce(ball_kind, 'not told') AS ball, monday(local_date) AS week, CAST(monday(local_date) AS INTEGER) AS week_number
    FROM shots
),
ranked AS (
    SELECT
        flights.*,
        weeks.week,
        row_number() OVER (
            PARTITION BY flights.site_id, flights.ball, weeks.week ORDER BY flights.struck_at DESC, flights.shot_id
        ) AS newest
    FROM weeks
    JOIN flights
        ON flights.site_id = weeks.site_id
        AND flights.ball = weeks.ball
        AND flights.day_number >= weeks.week_number - $look_back_days
        AND flights.day_number < weeks.week_number
),
fitted AS (
    SELECT
        site_id,
        ball,
        week,
        ball_model(array_agg(named_struct(
            'ball_speed_mps', ball_speed_mps,
            'launch_elevation_deg', launch_elevation_deg,
            'launch_azimuth_deg', launch_azimuth_deg,
            'spin_rpm', spin_rpm,
            'spin_tilt_deg', CASE WHEN spin_tilt_sd_deg IS NOT NULL THEN spin_tilt_deg END,
            'ball_speed_sd_mps', ball_speed_sd_mps,
            'launch_elevation_sd_deg', launch_elevation_sd_deg,
            'launch_azimuth_sd_deg', launch_azimuth_sd_deg,
            'spin_sd_rpm', spin_sd_rpm,
            'spin_tilt_sd_deg', spin_tilt_sd_deg,
            'air_density',
            CASE
                WHEN temperature_c IS NOT NULL OR pressure_hpa IS NOT NULL
                THEN air_density(coalesce(temperature_c, 20.0), coalesce(pressure_hpa, 1013.25), coalesce(humidity_pct, 50.0))
            END,
            'wind_along_mps', wind_along_mps,
            'wind_across_mps', wind_across_mps,
            'carry_m', carry_m,
            'carry_sd_m', carry_sd_m,
            'lateral_m', lateral_m,
            'lateral_sd_m', lateral_sd_m,
            'day', day_number
        )), CASE WHEN ball = 'not told' THEN $site_ball ELSE ball END) AS told
    FROM ranked
    WHERE newest <= $most_flights
    GROUP BY site_id, ball, week
)
SELECT
    site_id,
    ball AS ball_kind,
    week,
    CAST($series AS BIGINT) AS series,
    arrow_cast($run_at, 'Timestamp(Microsecond, Some("UTC"))') AS made_at,
    told['drag_identified'] AS drag_identified,
    told['lift_identified'] AS lift_identified,
    CAST(told['flights_used'] AS BIGINT) AS flights_used,
    CAST(told['days_used'] AS BIGINT) AS days_used,
    CAST(told['flights_set_aside'] AS BIGINT) AS flights_set_aside,
    told['ball_drag_scale'] AS ball_drag_scale,
    told['ball_drag_scale_sd'] AS ball_drag_scale_sd,
    told['ball_lift_scale'] AS ball_lift_scale,
    told['ball_lift_scale_sd'] AS ball_lift_scale_sd,
    told['scale_correlation'] AS scale_correlation,
    told['carry_offset_m'] AS carry_offset_m,
    learning_version() AS method_version
FROM fitted
WHERE told['ball_drag_scale'] IS NOT NULL
