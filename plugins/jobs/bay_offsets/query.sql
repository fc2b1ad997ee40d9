-- Bays whose readings of direction are turned. Only measured directions of play and drill shots, about each shot's aim.
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
known AS (
    SELECT
        shots.site_id,
        shots.shot_id,
        shots.struck_at,
        shots.bay,
        concat(shots.player_id, ' ', shots.club_id) AS player,
        coalesce(shots.session_id, concat(CAST(shots.local_date AS VARCHAR), ' ', coalesce(shots.bay, ''))) AS session_text,
        CAST(shots.local_date AS INTEGER) AS day_number,
        CASE WHEN device.launch_azimuth_sd_deg IS NOT NULL THEN shots.launch_azimuth_deg - coalesce(shots.aim_deg, 0.0) END AS azimuth,
        CASE WHEN device.path_sd_deg IS NOT NULL THEN shots.path_deg - coalesce(shots.aim_deg, 0.0) END AS path,
        CASE WHEN device.face_sd_deg IS NOT NULL THEN shots.face_deg - coalesce(shots.aim_deg, 0.0) END AS face
    FROM shots
    JOIN players ON players.player_id = shots.player_id AND players.site_id = shots.site_id AND players.consent
    JOIN device ON device.format = shots.format AND device.format_version = shots.format_version
    WHERE
        shots.bay IS NOT NULL
        AND shots.club_id IS NOT NULL
        AND shots.intent IN ('play', 'drill')
        AND concat(';', coalesce(shots.quality, ''), ';') NOT LIKE '%;excluded;%'
),
numbered AS (
    SELECT *, dense_rank() OVER (PARTITION BY site_id ORDER BY session_text) AS session
    FROM known
    WHERE azimuth IS NOT NULL
),
weeks AS (
    SELECT DISTINCT site_id, monday(local_date) AS week, CAST(monday(local_date) AS INTEGER) AS week_number FROM shots
),
ranked AS (
    SELECT
        numbered.*,
        weeks.week,
        row_number() OVER (PARTITION BY numbered.site_id, weeks.week ORDER BY numbered.struck_at DESC, numbered.shot_id) AS newest
    FROM weeks
    JOIN numbered
        ON numbered.site_id = weeks.site_id
        AND numbered.day_number >= weeks.week_number - $look_back_days
        AND numbered.day_number < weeks.week_number
),
fitted AS (
    SELECT
        site_id,
        week,
        bay_offsets(
            array_agg(named_struct(
                'bay', bay,
                'player', player,
                'session', session,
                'launch_azimuth_deg', azimuth,
                'path_deg', path,
                'face_deg', face
            )),
            nullif($reference_bay, '')
        ) AS bays
    FROM ranked
    WHERE newest <= $most_shots
    GROUP BY site_id, week
),
told_of AS (
    SELECT site_id, week, unnest(bays) AS told FROM fitted
)
SELECT
    site_id,
    told['bay'] AS bay,
    week,
    CAST($series AS BIGINT) AS series,
    arrow_cast($run_at, 'Timestamp(Microsecond, Some("UTC"))') AS made_at,
    told['identified'] AS identified,
    CAST(told['shots'] AS BIGINT) AS shots,
    CAST(told['crossing_players'] AS BIGINT) AS crossing_players,
    CAST(told['component'] AS BIGINT) AS component,
    told['direction_offset_deg'] AS direction_offset_deg,
    told['direction_offset_sd_deg'] AS direction_offset_sd_deg,
    told['path_offset_deg'] AS path_offset_deg,
    told['path_offset_sd_deg'] AS path_offset_sd_deg,
    told['face_offset_deg'] AS face_offset_deg,
    told['face_offset_sd_deg'] AS face_offset_sd_deg,
    learning_version() AS method_version
FROM told_of
