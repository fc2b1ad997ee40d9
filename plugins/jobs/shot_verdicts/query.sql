-- Strike or swing, shot by shot. Only shots of players who consented are judged; demonstration shots and those that a
-- correction excludes never are. Each week is judged by the snapshots that were made before it began.
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
    -- An offset within its own doubt corrects nothing.
    WHERE newest = 1 AND identified AND abs(direction_offset_deg) > 2.0 * direction_offset_sd_deg
),
model AS (
    SELECT *
    FROM (
        SELECT *, row_number() OVER (PARTITION BY site_id, player_id, club_id, week ORDER BY series DESC) AS newest FROM player_club_model
    )
    WHERE newest = 1
),
known AS (
    SELECT
        shots.*,
        monday(shots.local_date) AS week,
        CAST(monday(shots.local_date) AS INTEGER) AS week_number,
        shots.intent IN ('play', 'drill') AS counted,
        players.hand AS player_hand,
        players.stock_path_deg,
        players.stock_face_deg,
        coalesce(shots.session_id, concat(CAST(shots.local_date AS VARCHAR), ' ', coalesce(shots.bay, ''))) AS session,
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
        shots.intent <> 'demonstration'
        AND shots.club_id IS NOT NULL
        AND concat(';', coalesce(shots.quality, ''), ';') NOT LIKE '%;excluded;%'
),
-- Before there is a model, the week's own shots must do.
own AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        median(CASE WHEN club_speed_sd_mps IS NOT NULL THEN club_speed_mps END) AS week_club_speed,
        median(CASE WHEN ball_speed_sd_mps IS NOT NULL THEN ball_speed_mps END) AS week_ball_speed,
        median(CASE WHEN launch_elevation_sd_deg IS NOT NULL THEN launch_elevation_deg END) AS week_elevation,
        median(CASE WHEN attack_sd_deg IS NOT NULL THEN attack_deg END) AS week_attack,
        median(CASE WHEN delivered_loft_sd_deg IS NOT NULL THEN delivered_loft_deg END) AS week_loft
    FROM known
    WHERE counted
    GROUP BY site_id, player_id, club_id, week
),
evident AS (
    SELECT
        known.*,
        own.week_club_speed,
        own.week_ball_speed,
        own.week_elevation,
        own.week_attack,
        own.week_loft,
        -- A model of another head is none: the club was changed in the roster since.
        model.series AS model_series,
        model.reference_club_speed_mps,
        model.reference_ball_speed_mps,
        model.reference_launch_elevation_deg,
        model.reference_attack_deg,
        model.reference_delivered_loft_deg,
        model.head_restitution,
        model.head_restitution_sd,
        model.head_restitution_falloff_per_m2,
        model.head_restitution_falloff_sd_per_m2,
        model.head_inertia_scale,
        model.head_inertia_scale_sd,
        model.head_cg_normal_m,
        model.head_cg_normal_sd_m,
        model.head_cg_up_m,
        model.head_cg_up_sd_m,
        model.head_cg_toe_m,
        model.head_cg_toe_sd_m,
        model.head_bulge_curvature_per_m,
        model.head_bulge_curvature_sd_per_m,
        model.head_friction,
        model.head_friction_sd,
        model.loft_offset_deg,
        model.loft_offset_sd_deg,
        model.direction_offset_deg,
        model.direction_offset_sd_deg,
        model.habit_toe_mm,
        model.habit_toe_sd_mm,
        model.habit_up_mm,
        model.habit_up_sd_mm,
        model.habit_path_deg,
        model.habit_path_sd_deg,
        model.habit_face_deg,
        model.habit_face_sd_deg,
        -- Where the strike is not identified, a loft that is not measured leans on the height of strike that was assumed: taken
        -- as known it would make every height of the player wrong alike.
        CASE WHEN model.strike_identified THEN model.habit_attack_deg END AS habit_attack_deg,
        CASE WHEN model.strike_identified THEN model.habit_attack_sd_deg END AS habit_attack_sd_deg,
        CASE WHEN model.strike_identified THEN model.habit_loft_deg END AS habit_loft_deg,
        CASE WHEN model.strike_identified THEN model.habit_loft_sd_deg END AS habit_loft_sd_deg,
        model.habit_club_speed_mps,
        model.habit_club_speed_sd_mps,
        ball.ball_drag_scale,
        ball.ball_lift_scale,
        turned.bay_direction_offset_deg,
        turned.bay_direction_offset_sd_deg
    FROM known
    LEFT JOIN own
        ON own.site_id = known.site_id AND own.player_id = known.player_id AND own.club_id = known.club_id AND own.week = known.week
    LEFT JOIN model
        ON model.site_id = known.site_id
        AND model.player_id = known.player_id
        AND model.club_id = known.club_id
        AND model.week = known.week
        AND model.head_profile = known.head
    LEFT JOIN ball ON ball.site_id = known.site_id AND ball.ball_kind = known.ball_key AND ball.week = known.week
    LEFT JOIN turned ON turned.site_id = known.site_id AND turned.bay = known.bay AND turned.week = known.week
),
judged AS (
    SELECT
        *,
        CASE WHEN model_series IS NULL THEN CAST(week_number + 7 AS DATE) ELSE week END AS model_as_of,
        verdict(
            -- No evidence, no verdict.
            CASE WHEN counted THEN named_struct(
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
            'reference_club_speed_mps', CASE WHEN model_series IS NULL THEN week_club_speed ELSE reference_club_speed_mps END,
            'reference_ball_speed_mps', CASE WHEN model_series IS NULL THEN week_ball_speed ELSE reference_ball_speed_mps END,
            'reference_launch_elevation_deg', CASE WHEN model_series IS NULL THEN week_elevation ELSE reference_launch_elevation_deg END,
            'reference_attack_deg', CASE WHEN model_series IS NULL THEN week_attack ELSE reference_attack_deg END,
            'reference_delivered_loft_deg', CASE WHEN model_series IS NULL THEN week_loft ELSE reference_delivered_loft_deg END,
            'stock_path_deg', stock_path_deg,
            'stock_face_deg', stock_face_deg,
            'head_restitution', head_restitution,
            'head_restitution_sd', head_restitution_sd,
            'head_restitution_falloff_per_m2', head_restitution_falloff_per_m2,
            'head_restitution_falloff_sd_per_m2', head_restitution_falloff_sd_per_m2,
            'head_inertia_scale', head_inertia_scale,
            'head_inertia_scale_sd', head_inertia_scale_sd,
            'head_cg_normal_m', head_cg_normal_m,
            'head_cg_normal_sd_m', head_cg_normal_sd_m,
            'head_cg_up_m', head_cg_up_m,
            'head_cg_up_sd_m', head_cg_up_sd_m,
            'head_cg_toe_m', head_cg_toe_m,
            'head_cg_toe_sd_m', head_cg_toe_sd_m,
            'head_bulge_curvature_per_m', head_bulge_curvature_per_m,
            'head_bulge_curvature_sd_per_m', head_bulge_curvature_sd_per_m,
            'head_friction', head_friction,
            'head_friction_sd', head_friction_sd,
            'loft_offset_deg', loft_offset_deg,
            'loft_offset_sd_deg', loft_offset_sd_deg,
            'direction_offset_deg', direction_offset_deg,
            'direction_offset_sd_deg', direction_offset_sd_deg,
            'habit_toe_mm', habit_toe_mm,
            'habit_toe_sd_mm', habit_toe_sd_mm,
            'habit_up_mm', habit_up_mm,
            'habit_up_sd_mm', habit_up_sd_mm,
            'habit_path_deg', habit_path_deg,
            'habit_path_sd_deg', habit_path_sd_deg,
            'habit_face_deg', habit_face_deg,
            'habit_face_sd_deg', habit_face_sd_deg,
            'habit_attack_deg', habit_attack_deg,
            'habit_attack_sd_deg', habit_attack_sd_deg,
            'habit_loft_deg', habit_loft_deg,
            'habit_loft_sd_deg', habit_loft_sd_deg,
            'habit_club_speed_mps', habit_club_speed_mps,
            'habit_club_speed_sd_mps', habit_club_speed_sd_mps,
            'ball_drag_scale', ball_drag_scale,
            'ball_lift_scale', ball_lift_scale,
            'bay_direction_offset_deg', bay_direction_offset_deg,
            'bay_direction_offset_sd_deg', bay_direction_offset_sd_deg
            ) END,
            head,
            coalesce(ball_kind, $site_ball)
        ) AS told
    FROM evident
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
    counted,
    told['carry_std_m'] AS carry_std_m,
    told['lateral_std_m'] AS lateral_std_m,
    told['centred_carry_std_m'] AS centred_carry_std_m,
    told['reference_carry_std_m'] AS reference_carry_std_m,
    told['carry_lost_to_strike_std_m'] AS carry_lost_to_strike_std_m,
    told['misread_probability'] AS misread_probability,
    habit_toe_mm AS strike_prior_toe_mm,
    habit_toe_sd_mm AS strike_prior_toe_sd_mm,
    habit_up_mm AS strike_prior_up_mm,
    habit_up_sd_mm AS strike_prior_up_sd_mm,
    model_series,
    club_speed_sd_mps IS NOT NULL AND club_speed_mps IS NOT NULL
        AND attack_sd_deg IS NOT NULL AND attack_deg IS NOT NULL
        AND path_sd_deg IS NOT NULL AND path_deg IS NOT NULL
        AND face_sd_deg IS NOT NULL AND face_deg IS NOT NULL
        AND delivered_loft_sd_deg IS NOT NULL AND delivered_loft_deg IS NOT NULL AS delivery_measured,
    session,
    intent
FROM judged
