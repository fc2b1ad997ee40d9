-- What is learned of each player with each club, from the newest play and drill shots before each week. Only players who consented.
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
ball AS (
    SELECT site_id, ball_kind, week, ball_drag_scale, ball_lift_scale
    FROM (SELECT *, row_number() OVER (PARTITION BY site_id, ball_kind, week ORDER BY series DESC) AS newest FROM ball_profiles)
    WHERE newest = 1
),
turned AS (
    SELECT site_id, bay, week, direction_offset_deg AS bay_direction_offset_deg, direction_offset_sd_deg AS bay_direction_offset_sd_deg
    FROM (SELECT *, row_number() OVER (PARTITION BY site_id, bay, week ORDER BY series DESC) AS newest FROM bay_offsets)
    WHERE newest = 1 AND identified
),
known AS (
    SELECT
        shots.*,
        players.hand AS player_hand,
        players.stock_path_deg,
        players.stock_face_deg,
        CAST(shots.local_date AS INTEGER) AS day_number,
        coalesce(shots.session_id, concat(CAST(shots.local_date AS VARCHAR), ' ', coalesce(shots.bay, ''))) AS session_text,
        coalesce(shots.ball_kind, CASE WHEN shots.environment = 'outdoor' THEN 'not told' END) AS ball_key,
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
        shots.intent IN ('play', 'drill')
        AND shots.club_id IS NOT NULL
        AND concat(';', coalesce(shots.quality, ''), ';') NOT LIKE '%;excluded;%'
),
numbered AS (
    SELECT *, dense_rank() OVER (PARTITION BY site_id ORDER BY session_text) AS session FROM known
),
weeks AS (
    SELECT DISTINCT
        shots.site_id,
        shots.player_id,
        shots.club_id,
        monday(shots.local_date) AS week,
        CAST(monday(shots.local_date) AS INTEGER) AS week_number
    FROM shots
    WHERE shots.player_id IS NOT NULL AND shots.club_id IS NOT NULL AND shots.intent <> 'demonstration'
),
-- The choice is made on few columns: the shots of half a year stand in it once for each week.
chosen AS (
    SELECT
        weeks.week,
        weeks.week_number,
        numbered.shot_id,
        row_number() OVER (
            PARTITION BY numbered.site_id, numbered.player_id, numbered.club_id, weeks.week
            ORDER BY numbered.struck_at DESC, numbered.shot_id
        ) AS newest
    FROM weeks
    JOIN numbered
        ON numbered.site_id = weeks.site_id
        AND numbered.player_id = weeks.player_id
        AND numbered.club_id = weeks.club_id
        AND numbered.day_number >= weeks.week_number - $look_back_days
        AND numbered.day_number < weeks.week_number
),
evident AS (
    SELECT
        numbered.*,
        chosen.week,
        chosen.week_number,
        ball.ball_drag_scale,
        ball.ball_lift_scale,
        turned.bay_direction_offset_deg,
        turned.bay_direction_offset_sd_deg
    FROM chosen
    JOIN numbered ON numbered.shot_id = chosen.shot_id
    LEFT JOIN ball ON ball.site_id = numbered.site_id AND ball.ball_kind = numbered.ball_key AND ball.week = chosen.week
    LEFT JOIN turned ON turned.site_id = numbered.site_id AND turned.bay = numbered.bay AND turned.week = chosen.week
    WHERE chosen.newest <= $most_shots
),
gathered AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        -- The club's head may change in the roster; a mix of kinds would be one only where a device tells the kind otherwise.
        max(head) AS head,
        count(*) AS shots,
        median(CASE WHEN club_speed_sd_mps IS NOT NULL THEN club_speed_mps END) AS usual_club_speed,
        median(CASE WHEN ball_speed_sd_mps IS NOT NULL THEN ball_speed_mps END) AS usual_ball_speed,
        median(CASE WHEN launch_elevation_sd_deg IS NOT NULL THEN launch_elevation_deg END) AS usual_elevation,
        median(CASE WHEN attack_sd_deg IS NOT NULL THEN attack_deg END) AS usual_attack,
        median(CASE WHEN delivered_loft_sd_deg IS NOT NULL THEN delivered_loft_deg END) AS usual_loft,
        array_agg(named_struct(
            'ball_speed_mps', ball_speed_mps,
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
            'stock_path_deg', stock_path_deg,
            'stock_face_deg', stock_face_deg,
            'ball_drag_scale', ball_drag_scale,
            'ball_lift_scale', ball_lift_scale,
            'bay_direction_offset_deg', bay_direction_offset_deg,
            'bay_direction_offset_sd_deg', bay_direction_offset_sd_deg,
            'session', session,
            'age_days', week_number - day_number
        )) AS offered
    FROM evident
    GROUP BY site_id, player_id, club_id, week
),
fitted AS (
    SELECT * EXCLUDE (offered), player_club_model(offered, head) AS told FROM gathered
)
SELECT
    site_id,
    player_id,
    club_id,
    week,
    CAST($series AS BIGINT) AS series,
    arrow_cast($run_at, 'Timestamp(Microsecond, Some("UTC"))') AS made_at,
    head AS head_profile,
    shots,
    told['reason'] AS reason,
    told['strike_identified'] AS strike_identified,
    told['direction_identified'] AS direction_identified,
    CAST(told['shots_used'] AS BIGINT) AS shots_used,
    CAST(told['sessions_used'] AS BIGINT) AS sessions_used,
    CAST(told['shots_set_aside'] AS BIGINT) AS shots_set_aside,
    coalesce(told['reference_club_speed_mps'], usual_club_speed) AS reference_club_speed_mps,
    told['reference_club_speed_sd_mps'] AS reference_club_speed_sd_mps,
    coalesce(told['reference_attack_deg'], usual_attack) AS reference_attack_deg,
    told['reference_attack_sd_deg'] AS reference_attack_sd_deg,
    coalesce(told['reference_delivered_loft_deg'], usual_loft) AS reference_delivered_loft_deg,
    told['reference_delivered_loft_sd_deg'] AS reference_delivered_loft_sd_deg,
    told['head_restitution'] AS head_restitution,
    told['head_restitution_sd'] AS head_restitution_sd,
    told['head_restitution_falloff_per_m2'] AS head_restitution_falloff_per_m2,
    told['head_restitution_falloff_sd_per_m2'] AS head_restitution_falloff_sd_per_m2,
    told['head_inertia_scale'] AS head_inertia_scale,
    told['head_inertia_scale_sd'] AS head_inertia_scale_sd,
    told['head_cg_normal_m'] AS head_cg_normal_m,
    told['head_cg_normal_sd_m'] AS head_cg_normal_sd_m,
    told['head_cg_up_m'] AS head_cg_up_m,
    told['head_cg_up_sd_m'] AS head_cg_up_sd_m,
    told['head_cg_toe_m'] AS head_cg_toe_m,
    told['head_cg_toe_sd_m'] AS head_cg_toe_sd_m,
    told['head_bulge_curvature_per_m'] AS head_bulge_curvature_per_m,
    told['head_bulge_curvature_sd_per_m'] AS head_bulge_curvature_sd_per_m,
    told['head_friction'] AS head_friction,
    told['head_friction_sd'] AS head_friction_sd,
    told['loft_offset_deg'] AS loft_offset_deg,
    told['loft_offset_sd_deg'] AS loft_offset_sd_deg,
    told['direction_offset_deg'] AS direction_offset_deg,
    told['direction_offset_sd_deg'] AS direction_offset_sd_deg,
    told['habit_toe_mm'] AS habit_toe_mm,
    told['habit_toe_sd_mm'] AS habit_toe_sd_mm,
    told['habit_up_mm'] AS habit_up_mm,
    told['habit_up_sd_mm'] AS habit_up_sd_mm,
    told['habit_path_deg'] AS habit_path_deg,
    told['habit_path_sd_deg'] AS habit_path_sd_deg,
    told['habit_face_deg'] AS habit_face_deg,
    told['habit_face_sd_deg'] AS habit_face_sd_deg,
    told['habit_attack_deg'] AS habit_attack_deg,
    told['habit_attack_sd_deg'] AS habit_attack_sd_deg,
    told['habit_loft_deg'] AS habit_loft_deg,
    told['habit_loft_sd_deg'] AS habit_loft_sd_deg,
    told['habit_club_speed_mps'] AS habit_club_speed_mps,
    told['habit_club_speed_sd_mps'] AS habit_club_speed_sd_mps,
    told['gear_gain_lateral'] AS gear_gain_lateral,
    told['gear_gain_lateral_sd'] AS gear_gain_lateral_sd,
    told['gear_gain_vertical'] AS gear_gain_vertical,
    told['gear_gain_vertical_sd'] AS gear_gain_vertical_sd,
    told['restitution_scale'] AS restitution_scale,
    told['restitution_scale_sd'] AS restitution_scale_sd,
    usual_ball_speed AS reference_ball_speed_mps,
    usual_elevation AS reference_launch_elevation_deg,
    learning_version() AS method_version
FROM fitted
WHERE told['shots_used'] IS NOT NULL OR shots >= $reference_shots
