-- Strike or swing, shot by shot. Only shots of players who consented are judged; demonstration shots and those that a
-- correction excludes never are.
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
        shots.*,
        monday(shots.local_date) AS week,
        CAST(shots.local_date AS INTEGER) AS day_number,
        CAST(monday(shots.local_date) AS INTEGER) AS week_number,
        shots.intent IN ('play', 'drill') AS counted,
        players.hand AS player_hand,
        players.stock_path_deg,
        players.stock_face_deg,
        coalesce(
            clubs.head_profile,
            CASE shots.club_kind
                WHEN 'driver' THEN 'modern-driver'
                WHEN 'fairway-wood' THEN 'fairway-wood'
                WHEN 'hybrid' THEN 'hybrid'
                WHEN 'wedge' THEN 'wedge'
                ELSE 'iron-mid'
            END
        ) AS head,
        device.* EXCLUDE (format, format_version)
    FROM shots
    JOIN players ON players.player_id = shots.player_id AND players.site_id = shots.site_id AND players.consent
    LEFT JOIN clubs
        ON clubs.player_id = shots.player_id AND clubs.club_id = shots.club_id AND clubs.site_id = shots.site_id
    LEFT JOIN device ON device.format = shots.format AND device.format_version = shots.format_version
    WHERE
        shots.intent <> 'demonstration'
        AND shots.club_id IS NOT NULL
        AND concat(';', coalesce(shots.quality, ''), ';') NOT LIKE '%;excluded;%'
),
weeks AS (
    SELECT DISTINCT site_id, player_id, club_id, week, week_number FROM known
),
history AS (
    -- Every shot that may form the reference of a week: the weeks before it, and the week itself as a stopgap.
    SELECT
        weeks.site_id,
        weeks.player_id,
        weeks.club_id,
        weeks.week,
        known.day_number < weeks.week_number AS earlier,
        CASE WHEN known.club_speed_sd_mps IS NOT NULL THEN known.club_speed_mps END AS club_speed,
        CASE WHEN known.ball_speed_sd_mps IS NOT NULL THEN known.ball_speed_mps END AS ball_speed,
        CASE WHEN known.launch_elevation_sd_deg IS NOT NULL THEN known.launch_elevation_deg END AS elevation,
        CASE WHEN known.attack_sd_deg IS NOT NULL THEN known.attack_deg END AS attack,
        CASE WHEN known.delivered_loft_sd_deg IS NOT NULL THEN known.delivered_loft_deg END AS loft
    FROM weeks
    JOIN known
        ON known.site_id = weeks.site_id
        AND known.player_id = weeks.player_id
        AND known.club_id = weeks.club_id
        AND known.day_number >= weeks.week_number - $reference_days
        AND known.day_number < weeks.week_number + 7
    WHERE known.counted
),
usual AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        count(*) FILTER (WHERE earlier) >= $reference_shots AS settled,
        median(club_speed) FILTER (WHERE earlier) AS club_speed_earlier,
        median(ball_speed) FILTER (WHERE earlier) AS ball_speed_earlier,
        median(elevation) FILTER (WHERE earlier) AS elevation_earlier,
        median(attack) FILTER (WHERE earlier) AS attack_earlier,
        median(loft) FILTER (WHERE earlier) AS loft_earlier,
        median(club_speed) AS club_speed_all,
        median(ball_speed) AS ball_speed_all,
        median(elevation) AS elevation_all,
        median(attack) AS attack_all,
        median(loft) AS loft_all
    FROM history
    GROUP BY site_id, player_id, club_id, week
),
judged AS (
    SELECT
        known.*,
        CASE WHEN usual.settled THEN known.week ELSE CAST(known.week_number + 7 AS DATE) END AS model_as_of,
        verdict(
            named_struct(
            'ball_speed_mps', CASE WHEN counted THEN ball_speed_mps END,
            'launch_elevation_deg', launch_elevation_deg,
            'launch_azimuth_deg', launch_azimuth_deg,
            'spin_rpm', spin_rpm,
            'spin_tilt_deg', spin_tilt_deg,
            'club_speed_mps', club_speed_mps,
            'attack_deg', attack_deg,
            'path_deg', path_deg,
            'face_deg', face_deg,
            'delivered_loft_deg', delivered_loft_deg,
            'strike_toe_mm', strike_toe_mm,
            'strike_up_mm', strike_up_mm,
            'carry_m', carry_m,
            'lateral_m', lateral_m,
            'ball_speed_sd_mps', ball_speed_sd_mps,
            'launch_elevation_sd_deg', launch_elevation_sd_deg,
            'launch_azimuth_sd_deg', launch_azimuth_sd_deg,
            'spin_sd_rpm', spin_sd_rpm,
            'spin_tilt_sd_deg', spin_tilt_sd_deg,
            'club_speed_sd_mps', club_speed_sd_mps,
            'attack_sd_deg', attack_sd_deg,
            'path_sd_deg', path_sd_deg,
            'face_sd_deg', face_sd_deg,
            'delivered_loft_sd_deg', delivered_loft_sd_deg,
            'strike_sd_mm', coalesce(strike_sd_mm, device_strike_sd_mm),
            'carry_sd_m', carry_sd_m,
            'lateral_sd_m', lateral_sd_m,
            'face_reference', face_reference,
            'strike_source', strike_source,
            'hand', player_hand,
            'air_density',
            CASE
                WHEN temperature_c IS NOT NULL OR pressure_hpa IS NOT NULL
                THEN air_density(coalesce(temperature_c, 20.0), coalesce(pressure_hpa, 1013.25), coalesce(humidity_pct, 50.0))
            END,
            'wind_along_mps', wind_along_mps,
            'wind_across_mps', wind_across_mps,
            'aim_deg', aim_deg,
            'reference_club_speed_mps', CASE WHEN settled THEN club_speed_earlier ELSE club_speed_all END,
            'reference_ball_speed_mps', CASE WHEN settled THEN ball_speed_earlier ELSE ball_speed_all END,
            'reference_launch_elevation_deg', CASE WHEN settled THEN elevation_earlier ELSE elevation_all END,
            'reference_attack_deg', CASE WHEN settled THEN attack_earlier ELSE attack_all END,
            'reference_delivered_loft_deg', CASE WHEN settled THEN loft_earlier ELSE loft_all END,
            'stock_path_deg', stock_path_deg,
            'stock_face_deg', stock_face_deg
            ),
            head
        ) AS told
    FROM known
    LEFT JOIN usual
        ON usual.site_id = known.site_id
        AND usual.player_id = known.player_id
        AND usual.club_id = known.club_id
        AND usual.week = known.week
)
SELECT
    shot_id,
    site_id,
    player_id,
    club_id,
    struck_at,
    local_date,
    week,
    told['miss'] AS miss,
    told['cause'] AS cause,
    told['cause_probability'] AS cause_probability,
    told['lateral_m'] AS lateral_m,
    told['carry_m'] AS carry_m,
    told['reference_lateral_m'] AS reference_lateral_m,
    told['reference_carry_m'] AS reference_carry_m,
    told['lateral_strike_m'] AS lateral_strike_m,
    told['lateral_delivery_m'] AS lateral_delivery_m,
    told['lateral_speed_m'] AS lateral_speed_m,
    told['lateral_rest_m'] AS lateral_rest_m,
    told['carry_strike_m'] AS carry_strike_m,
    told['carry_delivery_m'] AS carry_delivery_m,
    told['carry_speed_m'] AS carry_speed_m,
    told['carry_rest_m'] AS carry_rest_m,
    told['centred_carry_m'] AS centred_carry_m,
    told['centred_lateral_m'] AS centred_lateral_m,
    told['carry_lost_to_strike_m'] AS carry_lost_to_strike_m,
    told['carry_lost_to_strike_sd_m'] AS carry_lost_to_strike_sd_m,
    told['strike_toe_mm'] AS strike_toe_mm,
    told['strike_up_mm'] AS strike_up_mm,
    told['strike_toe_sd_mm'] AS strike_toe_sd_mm,
    told['strike_up_sd_mm'] AS strike_up_sd_mm,
    told['strike_source'] AS strike_source,
    told['face_to_path_deg'] AS face_to_path_deg,
    told['curve_reading_deg'] AS curve_reading_deg,
    told['misread'] AS misread,
    model_as_of,
    method_version() AS method_version,
    CAST(0 AS BIGINT) AS revision,
    CASE WHEN counted THEN told['reason'] ELSE 'a ' || intent || ' shot is not judged' END AS reason,
    told['strike_zone'] AS strike_zone,
    told['probability_strike'] AS probability_strike,
    told['probability_delivery'] AS probability_delivery,
    told['probability_either'] AS probability_either,
    told['probability_both_needed'] AS probability_both_needed,
    told['probability_neither'] AS probability_neither,
    told['tighter_strike_gain_m'] AS tighter_strike_gain_m,
    told['faster_club_gain_m'] AS faster_club_gain_m,
    aim_deg,
    counted
FROM judged
